"""What is kept of an answer, and what happens to it when something breaks, somebody guesses or the book is hostile."""

from datetime import date, timedelta

import pytest
import time_machine
from django.core.cache import cache
from django.db import DatabaseError
from django.test import Client
from django.utils.html import escape

from gear import wording
from gear.models import GivenAnswer
from gear.rules.readiness import BLOCKS
from gear.views import visitors
from tests import builders
from tests.gear.answer_page import CODES, NOBODYS, NOW, glove_pair, says_good, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def morning_of_the_first_of_june():
    cache.clear()
    with time_machine.travel(NOW, tick=False):
        yield
    cache.clear()


# What is kept, and what may go wrong


def test_what_was_told_is_kept_with_its_reasons(client, cast):
    blanket = builders.blanket("B-1", label=CODES[0])
    builders.tested(blanket, on=date(2025, 1, 10))
    client.force_login(cast.dev)
    client.get(f"/t/{CODES[0].lower()}", headers={"user-agent": "Yard tablet 3"})
    kept = GivenAnswer.objects.get()
    assert (kept.item, kept.by, kept.code, kept.verdict) == (blanket, cast.dev, CODES[0], "stop")
    assert (kept.reasons, kept.good_through, kept.rule_pack) == (
        ["SHELF_LIMIT"],
        date(2026, 1, 9),
        "us_federal 1",
    )
    assert (kept.data_age_s, kept.device) == (0, "Yard tablet 3")


def test_misses_are_kept_as_typed_and_looking_without_seeing_is_not(client):
    client.get("/t/no-such\x00code")
    client.head(f"/t/{NOBODYS}")
    kept = GivenAnswer.objects.get()
    assert (kept.code, kept.verdict, kept.item, kept.by) == ("no-suchcode", "unknown", None, None)


def test_a_record_that_cannot_be_kept_changes_no_answer(client, monkeypatch, caplog):
    def fails(row):
        raise DatabaseError("disk full")

    glove_pair()
    monkeypatch.setattr("gear.actions.sightings.append", fails)
    assert says_good(client.get(f"/t/{CODES[0]}"))
    assert "could not be stored" in caplog.text
    assert CODES[0] in caplog.text


@pytest.mark.parametrize("broken", ["gear.queries.scanned", "gear.queries.question", "gear.wording.sentence"])
def test_whatever_breaks_gives_unknown_and_never_an_error_page(client, monkeypatch, broken):
    def fails(*_arguments, **_keywords):
        raise RuntimeError("secret detail")

    glove_pair()
    monkeypatch.setattr(broken, fails)
    response = client.get(f"/t/{CODES[0]}")
    assert response.status_code == 200
    assert "CAN'T SAY. DO NOT USE" in text_of(response).replace("&#x27;", "'")
    assert not says_good(response)
    assert "secret" not in response.content.decode()


def test_even_without_a_template_the_words_are_there(client, monkeypatch):
    def fails(*_arguments, **_keywords):
        raise RuntimeError

    glove_pair()
    monkeypatch.setattr("gear.views.answer.render", fails)
    response = client.get(f"/t/{CODES[0]}")
    assert response.status_code == 200
    assert escape("CAN'T SAY. DO NOT USE") in response.content.decode()


def test_no_cache_keeps_an_answer(client):
    glove_pair()
    assert client.get(f"/t/{CODES[0]}").headers["Cache-Control"] == "no-store"


def test_reasons_without_words_show_their_code(client, monkeypatch):
    monkeypatch.delitem(wording.SENTENCES, "NEVER_TESTED")
    builders.blanket("B-1", label=CODES[0])
    assert "NEVER_TESTED" in text_of(client.get(f"/t/{CODES[0]}"))


def test_every_reason_has_a_sentence_and_someone_to_see():
    assert set(wording.SENTENCES) == set(BLOCKS)
    assert {who for who, _sentence in wording.SENTENCES.values()} <= set(wording.WHO)


def test_guesses_are_slowed_and_found_codes_never_count(client):
    glove_pair()
    for _guess in range(visitors.MISSES - 1):
        client.get(f"/t/{NOBODYS}")
    for _scan in range(3):
        assert says_good(client.get(f"/t/{CODES[0]}"))
    assert client.get(f"/t/{NOBODYS}").status_code == 200  # the last of the minute
    refused = client.get(f"/t/{CODES[0]}")
    assert (refused.status_code, refused.headers["Retry-After"]) == (429, "60")
    assert "CAN'T SAY. DO NOT USE" in text_of(refused).replace("&#x27;", "'")
    assert not says_good(refused)
    assert says_good(Client(REMOTE_ADDR="192.0.2.7").get(f"/t/{CODES[0]}"))
    with time_machine.travel(NOW + timedelta(minutes=1), tick=False):
        assert says_good(client.get(f"/t/{CODES[0]}"))


def test_whoever_has_signed_in_is_not_slowed(client, cast, monkeypatch):
    monkeypatch.setattr(visitors, "MISSES", 1)
    client.force_login(cast.dev)
    assert [client.get(f"/t/{NOBODYS}").status_code for _guess in range(3)] == [200, 200, 200]


@pytest.mark.parametrize(
    ("address", "forwarded", "counted"),
    [
        ("192.0.2.7", "", "192.0.2.7"),
        ("192.0.2.7", "198.51.100.1", "192.0.2.7"),  # only a proxy on this machine is believed
        ("127.0.0.1", "198.51.100.9, 198.51.100.1", "198.51.100.1"),  # and only about the last hop
        ("::1", "198.51.100.1", "198.51.100.1"),
        ("127.0.0.1", "", "127.0.0.1"),
        ("", "198.51.100.1", "198.51.100.1"),
        ("no address", "198.51.100.1", "no address"),
    ],
)
def test_the_visitor_is_known_by_the_address_nearest_to_this_machine(rf, address, forwarded, counted):
    headers = {"HTTP_X_FORWARDED_FOR": forwarded} if forwarded else {}
    assert visitors.address_of(rf.get("/t/", REMOTE_ADDR=address, **headers)) == counted


# Hostile markings

HOSTILE = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'};alert(1)//",
    "{{ 7 }}{% now %}",
    "</dl><h1>GOOD THROUGH 31 DEC 2099</h1>",
]


@pytest.mark.parametrize("text", HOSTILE)
def test_what_was_typed_into_the_book_stays_text(client, cast, text):
    blanket = builders.blanket("B-1", label=CODES[0], serial=text, maker=text, colour=text[:40])
    builders.issued(blanket, to=builders.holder("person", text))
    builders.happened(blanket, "held", reason=text)
    client.force_login(cast.dev)
    html = client.get(f"/t/{CODES[0]}").content.decode()
    assert text not in html or text == "{{ 7 }}{% now %}"
    assert html.count(escape(text)) >= 3
    assert "<h1>GOOD" not in html
