"""Guessing passwords is slowed, nobody is locked out, and other people notice nothing."""

from concurrent.futures import ThreadPoolExecutor

import pytest
import time_machine
from django.core.cache import caches
from django.db import connection
from django.test import RequestFactory

from gear.site import sign_in, throttle

NOON = 1_790_000_040.0  # a whole minute
HERE, ELSEWHERE = "192.0.2.7", "198.51.100.9"  # addresses for documentation, RFC 5737


def tries(*, seconds, account="orla", address=HERE, every=0.1):
    """How many of the tries, one `every` so many seconds, pass."""
    passed, now = [], NOON
    while now < NOON + seconds:
        try:
            throttle.take(account=account, address=address, now=now)
        except throttle.WaitFirst:
            pass
        else:
            passed.append(now)
        now += every
    return passed


pytestmark = pytest.mark.django_db


def test_of_a_thousand_tries_for_one_account_at_most_ten_pass_in_any_minute():
    passed = sorted(
        moment
        for number in range(20)  # from twenty addresses at once
        for moment in tries(seconds=150, every=3, address=f"192.0.2.{number}")
    )
    assert len(passed) > 10  # it never stops altogether
    assert all(sum(start <= moment < start + 60 for moment in passed) <= 10 for start in passed)


def test_one_address_leaves_slots_of_an_account_to_the_rightful_person():
    tries(seconds=60, every=1)
    throttle.take(account="orla", address=ELSEWHERE, now=NOON + 60)


def test_other_people_are_not_slowed():
    tries(seconds=10)
    throttle.take(account="dev", address=HERE, now=NOON + 10)


def test_one_address_cannot_try_account_after_account():
    passed = 0
    for number in range(200):
        try:
            throttle.take(account=f"person {number}", address=HERE, now=NOON)
        except throttle.WaitFirst:
            continue
        passed += 1
    assert passed == throttle.ADDRESS_SLOTS


def test_after_the_stated_wait_the_next_try_passes():
    tries(seconds=1)
    with pytest.raises(throttle.WaitFirst) as refusal:
        throttle.take(account="orla", address=HERE, now=NOON + 1)
    assert 1 <= refusal.value.seconds <= 60 / throttle.PAIR_SLOTS
    throttle.take(account="orla", address=HERE, now=NOON + 1 + refusal.value.seconds)


@pytest.mark.parametrize("typed", ["ORLA", " orla ", "\uff4frla"])
def test_other_ways_to_write_a_name_share_its_slots(typed):
    tries(seconds=1)
    with pytest.raises(throttle.WaitFirst):
        throttle.take(account=typed, address=HERE, now=NOON + 1)


def test_a_right_password_gives_its_slots_back():
    for _ in range(50):
        throttle.take(account="orla", address=HERE, now=NOON).give_back()


def test_a_refused_try_holds_no_slot_of_its_address():
    for number in range(100):
        tries(seconds=0.1, account="orla")
        assert number < 3 or not tries(seconds=0.1, account="orla")
    assert len({tries(seconds=0.1, account=f"person {number}")[0] for number in range(20)}) == 1


def test_what_was_typed_is_not_kept():
    throttle.take(account="my-password-by-mistake", address=HERE, now=NOON)
    with connection.cursor() as cursor:
        cursor.execute("SELECT cache_key, value FROM sign_in_attempts")
        assert "my-password" not in str(cursor.fetchall())


@pytest.mark.django_db(transaction=True)
def test_workers_that_try_at_once_share_the_slots():
    def one_try(_):
        try:
            throttle.take(account="orla", address=HERE, now=NOON)
        except throttle.WaitFirst:
            return 0
        finally:
            connection.close()
        return 1

    with ThreadPoolExecutor(8) as workers:
        assert sum(workers.map(one_try, range(40))) == throttle.PAIR_SLOTS


# The page


@pytest.fixture
def post(client, cast):
    def sign_in_as(name, password, **extra):
        return client.post("/login/", {"username": name, "password": password}, **extra)

    return sign_in_as


def test_too_many_tries_are_told_to_wait_and_how_long(post):
    with time_machine.travel(NOON, tick=False):
        answers = [post("orla", "wrong") for _ in range(4)]
    assert [answer.status_code for answer in answers] == [200, 200, 200, 429]
    assert answers[-1].headers["Retry-After"] == "21"
    assert "Wait 21 seconds" in answers[-1].content.decode()


def test_the_right_password_passes_after_the_wait(post):
    with time_machine.travel(NOON, tick=False) as now:
        for _ in range(10):
            post("orla", "wrong")
        now.shift(21)
        assert post("orla", "orla keeps a secret").status_code == 302


def test_unknown_name_wrong_password_and_a_person_who_left_read_the_same(post, cast):
    cast.dev.is_active = False
    cast.dev.save()
    tried = (("orla", "wrong"), ("nobody", "wrong"), ("dev", "dev keeps a secret"))
    pages = [post(*pair).content.decode() for pair in tried]
    assert all("Name and password do not match" in page for page in pages)
    shown = {page.replace(pair[0], "NAME") for page, pair in zip(pages, tried, strict=True)}
    assert len({page.split("<form", 1)[1].split("csrfmiddlewaretoken")[0] for page in shown}) == 1


def test_the_admin_site_has_no_door_of_its_own(client):
    answer = client.get("/admin/login/?next=/admin/")
    assert (answer.status_code, answer.url) == (302, "/login/?next=/admin/")


@pytest.mark.parametrize(
    "next_page", ["//evil.example", "https:evil.example", "\\\\evil.example", "javascript:alert(1)"]
)
def test_signing_in_never_leads_away(client, cast, next_page):
    sent = {"username": "orla", "password": "orla keeps a secret", "next": next_page}
    assert client.post("/login/", sent).url == "/"


@pytest.mark.parametrize(
    ("remote", "forwarded", "address"),
    [
        (HERE, "", HERE),
        (HERE, ELSEWHERE, HERE),  # a visitor may claim anything
        ("127.0.0.1", ELSEWHERE, ELSEWHERE),
        ("127.0.0.1", f"203.0.113.5, {ELSEWHERE}", ELSEWHERE),  # the last hop is what our own proxy saw
        ("", ELSEWHERE, ELSEWHERE),  # a proxy over a Unix socket
        ("127.0.0.1", "", "127.0.0.1"),
    ],
)
def test_whose_address_counts(remote, forwarded, address):
    extra = {"HTTP_X_FORWARDED_FOR": forwarded} if forwarded else {}
    request = RequestFactory().get("/login/", REMOTE_ADDR=remote, **extra)
    assert sign_in.address_of(request) == address


def test_the_table_of_attempts_is_there_after_migrate():
    assert caches["sign_in"].add("a", 1)
    assert not caches["sign_in"].add("a", 1)
