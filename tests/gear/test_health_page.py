"""The page Health, the banner on every page, and the one sentence that strangers see."""

import re
import time
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from gear.ledger import make_seal
from gear.models import User
from gear.queries import health, installation
from gear.queries.health import AMBER, RED, WELL, Finding
from tests import builders

pytestmark = [pytest.mark.django_db, pytest.mark.looks_after_itself]
MAIL = Finding("MAIL_LATE", RED, "Monday mail", "It was not sent. Run manage.py send_weekly_report.")
BANNER = "This installation needs somebody today:"
NEUTRAL = "Something about this installation needs its administrator."


class Mail:
    """A check of another room, which can be broken and mended."""

    __name__ = "mail"
    found: tuple = (Finding("MAIL", WELL, "Monday mail", "Sent."),)
    asked = 0

    def __call__(self, now):
        Mail.asked += 1
        return self.found


@pytest.fixture(autouse=True)
def mail(monkeypatch):
    check = Mail()
    Mail.asked = 0
    monkeypatch.setattr(health, "CHECKS", [check])
    health.forget()
    yield check
    health.forget()


def page(person, address="/records/"):
    client = Client()
    client.force_login(person)
    return client.get(address).content.decode()


def words(html):
    return " ".join(re.sub(r"<[^>]+>", " ", html.split("<main", 1)[1]).split())


# The banner


def test_a_stopped_mail_is_on_every_page_within_a_minute_and_no_job_has_to_run(cast, mail, monkeypatch):
    assert BANNER not in page(cast.ines)
    mail.found = (MAIL,)
    before = time.monotonic()
    monkeypatch.setattr(health.time, "monotonic", lambda: before + 60)
    told = words(page(cast.ines))
    assert f"{BANNER} Monday mail." in told
    assert "It was not sent" not in told


def test_pages_of_the_same_minute_share_one_look(cast):
    for _once in range(5):
        page(cast.ines)
    assert Mail.asked == 1


def test_it_is_for_supervisors_and_administrators_and_strangers_learn_that_something_is(cast, mail):
    mail.found = (MAIL,)
    for person in (cast.ines, cast.pim):
        assert BANNER in page(person)
    for person in (cast.orla, cast.halvard, cast.dev):
        assert BANNER not in page(person, "/rules/")
    stranger = Client().get("/login/").content.decode()
    assert NEUTRAL in stranger
    assert "Monday mail" not in stranger
    assert "MAIL" not in stranger


def test_what_is_only_worth_knowing_is_on_no_other_page(cast, mail):
    mail.found = (Finding("MAIL_FEW", AMBER, "Monday mail", "One reader."),)
    assert BANNER not in page(cast.ines)
    assert NEUTRAL not in Client().get("/login/").content.decode()


# The page


def test_red_stands_first_with_its_word_and_what_to_do(cast, mail):
    mail.found = (*Mail.found, MAIL, Finding("FEW", AMBER, "Readers", "One.", page="people", bars=True))
    told = words(page(cast.halvard, "/health/"))
    assert re.search(r"To be mended today 1 Monday mail It was not sent\..*Worth knowing 1 .*Well 1 ", told)
    assert "Open the page for it" in told
    assert "Open the page for it" not in words(page(cast.orla, "/health/"))


def test_the_page_looks_anew_and_says_when_all_is_well(cast, mail):
    page(cast.ines)
    assert "Nothing here needs anybody today." in words(page(cast.ines, "/health/"))
    mail.found = (MAIL,)
    assert "Nothing here needs anybody today." not in words(page(cast.ines, "/health/"))


# What the book itself can tell


def codes_of(check, now=None):
    return [one.code for one in check(now or timezone.now())]


def level_of(check, now=None):
    return [one.level for one in check(now or timezone.now())]


def test_a_seal_is_late_a_day_and_two_hours_after_what_waits_for_it_and_never_on_a_quiet_weekend(cast):
    check, now = installation.check_seals, timezone.now()
    assert level_of(check, now) == [WELL]
    builders.glove("G-00001")
    now = timezone.now()
    assert codes_of(check, now + timedelta(hours=25)) == ["SEAL"]
    assert codes_of(check, now + timedelta(hours=27)) == ["SEAL_LATE"]
    make_seal(timezone.now())
    assert codes_of(check, now + timedelta(days=9)) == ["SEAL"]


def test_a_demo_has_no_timers_and_no_red_for_them(cast, settings):
    builders.glove("G-00001")
    late = timezone.now() + timedelta(hours=27)
    assert level_of(installation.check_seals, late) == [RED]
    settings.DEMO = True
    assert level_of(installation.check_seals, late) == [AMBER]


def test_somebody_must_be_there_for_what_one_role_may_do(cast):
    check = installation.check_people
    assert codes_of(check) == ["NO_ADDRESS"]
    User.objects.update(email="somebody@example.org")
    assert codes_of(check) == ["PEOPLE"]
    User.objects.filter(role__in=("administrator", "supervisor", "clerk")).update(is_active=False)
    assert codes_of(check) == ["NO_ADMINISTRATOR", "NO_SUPERVISOR", "NO_CLERK"]
    assert next(iter(check(timezone.now()))).level == RED


def test_debug_is_red_but_for_a_demo(cast, settings):
    settings.DEBUG = True
    assert "DEBUG_ON" in codes_of(installation.check_setup)
    settings.DEMO = True
    assert "DEBUG_ON" not in codes_of(installation.check_setup)


def test_the_zone_that_nobody_chose_is_worth_knowing(cast, settings):
    assert "ZONE_IS_UTC" not in codes_of(installation.check_clock)
    settings.TIME_ZONE = "UTC"
    assert "ZONE_IS_UTC" in codes_of(installation.check_clock)
