"""Notices: to whom, when, and once; what is stopped in hands comes back until somebody confirms."""

import io
from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from gear.queries import health
from gear.queries.health import RED, Finding
from reports.actions import notices, posting
from reports.models import MailPlan, Notice, StopConfirmation
from tests import builders
from tests.reports import post_office as mood
from tests.reports.post_office import post_office

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 9, 15, 16, tzinfo=UTC)  # Tuesday, 12:00 at the site
NIGHT = datetime(2026, 9, 16, 5, tzinfo=UTC)  # 01:00
HOUR = timedelta(hours=1)


@pytest.fixture
def office(settings, monkeypatch):
    monkeypatch.setattr(health, "CHECKS", [])
    with post_office(settings) as server:
        yield server


@pytest.fixture
def clock(cast):
    """Noon. Everybody has an address; T-12 of crew 7 has a blanket that is good for a year."""
    for one in (cast.orla, cast.bertrand, cast.ines, cast.pim):
        one.email = f"{one.username}@example.org"
        one.save()
    with time_machine.travel(NOON, tick=False) as traveller:
        blanket = builders.blanket("B-1", at=builders.holder("truck", "T-12"))
        builders.tested(blanket, on=date(2026, 9, 1))
        yield traveller


def hold(item_no="B-1"):
    builders.happened(builders.Item.objects.get(item_no=item_no), "held", reason="cut", on=date(2026, 9, 15))


def send(*options):
    out, wrong = io.StringIO(), ""
    try:
        call_command("send_notices", *options, stdout=out)
    except CommandError as error:
        wrong = str(error)
    return out.getvalue(), wrong


def addressed(office):
    """To whom something came since this was asked last."""
    found = [address.partition("@")[0] for address, _raw in office.taken]
    office.taken.clear()
    return found


def test_nothing_new_is_no_mail(clock, office):
    assert send() == ("Nobody needs a notice now.\n", "")


def test_a_stop_in_hands_goes_at_once_at_night_and_comes_back_daily_until_it_is_out_of_hands(clock, office):
    send()
    clock.move_to(NIGHT)
    hold()
    for _often in range(3):
        send()
    (letter,) = [one for _address, one in office.letters]
    body = letter.get_content()
    assert letter["Subject"] == "STOP: B-1 is in somebody's hands"
    assert "with T-12 (Truck, Crew 7, Harbour depot). On hold" in body
    assert "/stops/" in body
    assert addressed(office) == ["bertrand"]
    clock.move_to(NIGHT + 6 * HOUR)  # no more quiet: the others hear of it once, as news
    send()
    assert sorted(addressed(office)) == ["ines", "orla"]
    clock.move_to(NIGHT + 24 * HOUR)
    send()
    assert addressed(office) == ["bertrand", "ines"]  # a day later the supervisor too
    builders.issued(builders.Item.objects.get(), to=builders.holder("shelf", "Shelf B"), on=date(2026, 9, 17))
    clock.move_to(NIGHT + 72 * HOUR)
    send()
    assert addressed(office) == []


def test_confirming_silences_it_for_a_week_and_changes_no_verdict(clock, office, cast):
    hold()
    send()
    client = Client()
    client.force_login(cast.bertrand)
    page = client.get("/stops/").content.decode()
    assert "bertrand, once, on 15 SEP 2026 12:00 EDT" in page
    key = notices.hands_key(
        notices.overdue_report(notices.queries.question(), scope=notices.Scope()).usable_now[0]
    )
    assert client.post("/stops/", {"item": "B-1", "key": key, "note": " "}).status_code == 422
    assert (
        client.post("/stops/", {"item": "B-1", "key": key, "note": "locked in my office"}).status_code == 302
    )
    assert StopConfirmation.objects.get().by == cast.bertrand
    assert "locked in my office" in client.get("/stops/").content.decode()
    addressed(office)
    clock.move_to(NOON + 6 * 24 * HOUR)
    send()
    assert "bertrand" not in addressed(office)
    clock.move_to(NOON + 7 * 24 * HOUR)
    send()
    assert "bertrand" in addressed(office)


def test_what_was_confirmed_as_out_of_use_and_given_to_somebody_again_is_told_again(clock, office, cast):
    hold()
    send()
    line = notices.overdue_report(notices.queries.question(), scope=notices.Scope()).usable_now[0]
    client = Client()
    client.force_login(cast.bertrand)
    sent = {"item": "B-1", "key": notices.hands_key(line), "note": "locked in my office"}
    assert client.post("/stops/", sent).status_code == 302
    addressed(office)
    clock.move_to(NOON + 25 * HOUR)
    builders.happened(builders.Item.objects.get(), "labelled", code="7K3W9QXTB2M")
    send()
    assert "bertrand" not in addressed(office)
    builders.issued(
        builders.Item.objects.get(), to=builders.holder("truck", "T-13", crew=cast.crew), on=date(2026, 9, 16)
    )
    send()
    assert "bertrand" in addressed(office)
    assert "locked in my office" not in client.get("/stops/").content.decode()


def test_a_foreman_confirms_for_his_crew_alone_and_a_worker_for_nobody(clock, cast):
    far = builders.holder("truck", "T-19", crew=builders.crew("Crew 9"))
    builders.blanket("B-9", at=far)
    hold("B-9")
    line = notices.overdue_report(notices.queries.question(), scope=notices.Scope()).usable_now[0]
    sent = {"item": "B-9", "key": notices.hands_key(line), "note": "in the shed"}
    for person, status in ((cast.bertrand, 422), (cast.dev, 403), (cast.halvard, 403), (cast.ines, 302)):
        client = Client()
        client.force_login(person)
        assert client.post("/stops/", sent).status_code == status, person


def test_the_page_asks_as_many_questions_about_many_stops_as_about_one(clock, office, cast):
    client, counts = Client(), []
    client.force_login(cast.ines)
    for number in range(2, 5):
        builders.blanket(f"B-{number}", at=builders.holder("truck", "T-12"))
        hold(f"B-{number}")
        send()
        with CaptureQueriesContext(connection) as asked:
            assert f"B-{number}" in client.get("/stops/").content.decode()
        counts.append(len(asked))
    assert len(set(counts)) == 1


def test_a_digest_comes_once_a_day_outside_the_quiet_hours(clock, office):
    builders.tested(builders.blanket("B-2", at=builders.holder("truck", "T-12")), on=date(2025, 9, 22))
    send()
    assert sorted(addressed(office)) == ["bertrand", "orla"]
    builders.tested(builders.blanket("B-3", at=builders.holder("truck", "T-12")), on=date(2025, 9, 23))
    send()
    assert addressed(office) == []
    clock.move_to(NIGHT)
    send()
    assert addressed(office) == []
    clock.move_to(NIGHT + 5 * HOUR)
    send()
    told = office.letters[0][1].get_content()
    assert "2 pieces fall due within 14 days. New among them:" in told
    assert "B-3" in told
    assert "B-2" not in told


def test_whoever_gets_a_stop_also_gets_what_is_new_and_neither_twice(clock, office):
    posting.append(MailPlan(monday_hour=6, quiet_from=0, quiet_until=0))
    builders.tested(builders.blanket("B-2", at=builders.holder("truck", "T-12")), on=date(2025, 9, 22))
    hold()
    for _often in range(3):
        send()
    assert sorted(addressed(office)) == ["bertrand", "bertrand", "ines", "orla"]
    assert sorted(Notice.objects.filter(person__username="bertrand").values_list("number", flat=True)) == [
        0,
        1,
    ]


def test_red_of_the_installation_goes_to_supervisor_and_administrator_once_a_week(clock, office, monkeypatch):
    finding = Finding("MAIL_NOBODY", RED, "Weekly mail", "Nobody is mailed.")
    monkeypatch.setattr(health, "CHECKS", [lambda _now: [finding]])
    send()
    assert sorted(addressed(office)) == ["ines", "pim"]
    clock.move_to(NOON + 24 * HOUR)
    send()
    assert addressed(office) == []
    clock.move_to(NOON + 7 * 24 * HOUR)  # mended in between and back, or red all the while
    send()
    assert sorted(addressed(office)) == ["ines", "pim"]


def test_without_a_foreman_who_can_be_mailed_the_supervisor_hears_at_once(clock, office, cast):
    cast.bertrand.email = ""
    cast.bertrand.save()
    clock.move_to(NIGHT)
    hold()
    send()
    assert addressed(office) == ["ines"]


def test_a_foreman_whom_no_mail_reaches_keeps_a_stop_from_no_supervisor(clock, office):
    office.moods["bertrand@example.org"] = mood.UNKNOWN_USER
    hold()
    send()
    addressed(office)
    clock.move_to(NOON + 25 * HOUR)
    send()
    told = [letter for address, letter in office.letters if address == "ines@example.org"]
    assert [letter["Subject"] for letter in told] == ["STOP: B-1 is in somebody's hands"]
    assert "No foreman of this crew can be mailed." in told[0].get_content()


def test_what_the_mail_server_did_not_take_is_the_same_mail_later_and_told_anew_after_a_day(clock, office):
    clock.move_to(NIGHT)
    hold()
    office.mood = mood.BUSY
    assert "451 not now" in send()[1]
    office.mood = mood.TAKE
    clock.move_to(NIGHT + HOUR)
    assert send()[1] == ""
    assert addressed(office) == ["bertrand"]
    assert Notice.objects.count() == 1
    office.mood = mood.BUSY
    clock.move_to(NIGHT + 24 * HOUR + 59 * timedelta(minutes=1))
    send()
    office.mood = mood.TAKE
    clock.move_to(NIGHT + 50 * HOUR)  # the notice of yesterday is past
    send()
    assert "bertrand" in addressed(office)


def test_a_process_that_loses_the_race_sends_nothing(clock, office, monkeypatch):
    clock.move_to(NIGHT)
    hold()
    send()
    monkeypatch.setattr(
        notices.reads, "recent", lambda _now: []
    )  # it looked before the other had kept anything
    send()
    assert addressed(office) == ["bertrand"]


def test_a_dry_run_keeps_and_sends_nothing(clock, office):
    hold()
    assert "bertrand@example.org: STOP: B-1 is in somebody's hands" in send("--dry-run")[0]
    assert not Notice.objects.exists()


def test_without_a_mail_server_it_is_said(clock, settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    assert "nobody gets a notice" in send()[1]


def test_a_sign_that_no_database_keeps_is_refused_and_breaks_no_page(clock, cast):
    client = Client()
    client.force_login(cast.ines)
    for address, sent in (
        ("/stops/", {"item": "B-1\x00", "key": "\x00", "note": "in \x00 my office"}),
        ("/site/mail/", {"what": "strike", "address": "\x00"}),
    ):
        assert client.post(address, sent).status_code == 422
