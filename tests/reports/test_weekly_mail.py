"""The Monday mail: once for every week, whoever runs it and whatever the mail server does."""

import hashlib
import io
import threading
from datetime import UTC, datetime, timedelta

import pypdf
import pytest
import time_machine
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection

from gear.models import Depot, ItemState
from reports.actions import composing, posting, weekly
from reports.models import MailAddress, MailAttempt, MailOutcome, WeeklyFile, WeeklyReport
from reports.pdf import weekly_pdf
from reports.queries.sent_reports import sent_problems
from tests import builders
from tests.reports import post_office as mood
from tests.reports.post_office import post_office

pytestmark = pytest.mark.django_db
FIRST = datetime(2026, 9, 10, 15, tzinfo=UTC)  # Thursday: the day of the first record
MONDAY = datetime(2026, 9, 14, 10, 5, tzinfo=UTC)  # 06:05 at the site
WEEKS = ["2026-W38", "2026-W39", "2026-W40", "2026-W41"]
WEEK = timedelta(days=7)
NO_PDF_HERE = b"%PDF-1.7 of a test"


@pytest.fixture
def office(settings):
    settings.BASE_URL = "https://gear.example.org"
    with post_office(settings) as server:
        yield server


@pytest.fixture
def clock(cast, monkeypatch):
    """Thursday with one blanket over its date on a truck, and Ines with an address. Setting a PDF takes a second."""
    monkeypatch.setattr(composing, "weekly_pdf", lambda _week: NO_PDF_HERE)
    cast.ines.email = "ines@example.org"
    cast.ines.save()
    with time_machine.travel(FIRST, tick=False) as traveller:
        blanket = builders.blanket("B-1", at=builders.holder("truck", "T-12"))
        builders.tested(blanket, on=datetime(2025, 9, 1, tzinfo=UTC).date())
        traveller.move_to(MONDAY)
        yield traveller


def send(*options):
    """(what was said, what was wrong): a status other than 0 comes with what is wrong."""
    out, wrong = io.StringIO(), ""
    try:
        call_command("send_weekly_report", *options, stdout=out)
    except CommandError as error:
        wrong = str(error) if error.returncode == 1 else f"status {error.returncode}"
    return out.getvalue(), wrong


def outcomes():
    return list(MailOutcome.objects.order_by("at").values_list("outcome", flat=True))


# Once a week


def test_four_mondays_give_four_reports_in_order_however_often_it_runs(clock, office):
    for monday in range(4):
        for minutes in (-10, 0, 15, 30, 24 * 60):
            clock.move_to(MONDAY + monday * WEEK + timedelta(minutes=minutes))
            assert send()[1] == ""
    assert office.weeks == WEEKS
    assert {address for address, _letter in office.letters} == {"ines@example.org"}
    assert len({letter["Message-ID"] for _address, letter in office.letters}) == 4


def test_what_is_kept_is_what_was_sent_byte_for_byte(clock, office):
    send()
    report = WeeklyReport.objects.get()
    kept = {one.kind: one for one in report.files.all()}
    (letter,) = [one for _address, one in office.letters]
    sent = {part.get_filename(): part.get_payload(decode=True) for part in letter.iter_attachments()}
    assert sent == {"overdue-2026-W38.pdf": NO_PDF_HERE, "overdue-2026-W38.csv": bytes(kept["csv"].content)}
    assert letter.get_body().get_content().replace("\r\n", "\n") == bytes(kept["txt"].content).decode()
    for one in kept.values():
        assert one.sha256 == hashlib.sha256(bytes(one.content)).hexdigest()
    assert list(sent_problems()) == []


def test_the_mail_says_what_page_one_says_and_where_to_work_on_it(clock, office):
    send()
    (letter,) = [one for _address, one in office.letters]
    body = letter.get_body().get_content()
    assert letter["Subject"] == "Week 2026-W38: 1 overdue and 0 stopped in people's hands"
    assert "1 item is overdue in someone's hands." in body
    assert "Crew 7, Harbour depot" in body
    assert "STOP  B-1  Blanket" in body
    assert "1  overdue in hands (Last week" in body
    assert "https://gear.example.org/reports/" in body
    assert WeeklyReport.objects.get().totals["overdue"] == 1


def test_before_the_hour_and_without_a_record_nothing_is_due(clock, office, monkeypatch):
    clock.move_to(MONDAY - timedelta(minutes=10))
    assert send() == ("No weekly report is due.\n", "")
    assert office.taken == []


def test_a_dry_run_says_what_it_would_do_and_does_nothing(clock, office):
    said, wrong = send("--dry-run")
    assert (said, wrong) == ("2026-W38 would be made now.\nMailed are: ines@example.org.\n", "")
    assert not WeeklyReport.objects.exists()


def test_only_the_week_that_is_asked_for(clock, office):
    clock.move_to(MONDAY + WEEK)
    send("--as-of", "2026-09-16")
    assert office.weeks == ["2026-W38"]
    with pytest.raises(CommandError, match="2026-W36 is not due here"):
        call_command("send_weekly_report", "--as-of", "2026-09-05")


# Weeks that were missed


def test_missed_weeks_are_made_up_once_each_oldest_first_as_known_at_their_moment(clock, office):
    clock.move_to(MONDAY + 2 * WEEK + timedelta(days=1))
    builders.tested(builders.Item.objects.get(), on=datetime(2026, 9, 11, tzinfo=UTC).date())
    clock.move_to(MONDAY + 3 * WEEK)
    send()
    send()
    assert office.weeks == WEEKS
    overdue = {one.week: one.totals["overdue"] for one in WeeklyReport.objects.all()}
    assert overdue == {"2026-W38": 1, "2026-W39": 1, "2026-W40": 1, "2026-W41": 0}
    late = office.letters[0][1].get_body().get_content()
    assert "As of 14 SEP 2026, end of day, as known 14 SEP 2026, 06:00" in late


def test_no_more_than_eight_weeks_are_made_up_and_it_says_so(clock, office):
    clock.move_to(MONDAY + 10 * WEEK)  # winter time by now: 05:05 at the site, so that week is not due yet
    said, _wrong = send("--dry-run")
    assert "2026-W48" not in said
    clock.move_to(MONDAY + 10 * WEEK + timedelta(hours=1))
    said, _wrong = send()
    assert "3 weeks are longer ago than the last 8 and are not made up." in said
    assert len(office.weeks) == 8
    assert office.weeks[-1] == "2026-W48"
    clock.move_to(MONDAY + 12 * WEEK)
    said, _wrong = send()
    # Two more are that old by now, and were made.
    assert "3 weeks are longer ago than the last 8 and are not made up." in said


def test_whoever_joins_later_gets_the_newest_week_and_none_from_before(clock, office, cast):
    send()
    clock.move_to(MONDAY + WEEK)
    send()
    posting.append(MailAddress(address="safety@example.org", mailed=True))
    send()
    assert [a for a, letter in office.letters if "W39" in letter["Subject"]] == [
        "ines@example.org",
        "safety@example.org",
    ]
    assert [a for a, letter in office.letters if "W38" in letter["Subject"]] == ["ines@example.org"]


# What a mail server can do


def test_the_pdf_that_is_attached_is_the_report_of_the_week(clock, office, monkeypatch):
    monkeypatch.setattr(composing, "weekly_pdf", weekly_pdf)
    send()
    attached = {part.get_filename(): part for part in office.letters[0][1].iter_attachments()}
    content = attached["overdue-2026-W38.pdf"].get_payload(decode=True)
    assert "1 item is overdue" in pypdf.PdfReader(io.BytesIO(content)).pages[0].extract_text()


@pytest.mark.parametrize(
    ("what", "kept", "said"),
    [
        (mood.BUSY, "later", "451 not now"),
        (mood.UNKNOWN_USER, "refused", "550 no such user"),
        (mood.TOO_BIG, "refused", "552 too big"),
        (mood.DROP, "later", "It may have taken the mail all the same"),
        (mood.CLOSED, "later", "421 closed for the night"),
    ],
)
def test_what_was_not_taken_is_kept_told_and_sent_again_later(clock, office, what, kept, said):
    office.mood = what
    assert said in send()[1]
    assert outcomes() == [kept]
    assert said in MailOutcome.objects.get().detail
    office.mood = mood.TAKE
    assert "tried again later" in send()[1]  # not at once
    clock.move_to(MONDAY + timedelta(days=1))
    assert send()[1] == ""
    assert office.weeks == ["2026-W38"]
    assert len({raw for _address, raw in (*office.offered, *office.taken)}) == 1  # byte for byte the same


def test_a_mail_server_that_says_nothing_is_given_up_and_nobody_else_waits_for_it(
    clock, office, settings, cast
):
    settings.EMAIL_TIMEOUT = 0.1
    builders.person("supervisor", "nessa", email="nessa@example.org")
    office.mood = mood.HANG
    assert "did not answer in time" in send()[1]
    assert MailAttempt.objects.count() == 1  # the second supervisor's turn comes when the server is back


def test_a_mail_server_that_refuses_the_sender_is_tried_again_soon_and_nobody_else_is_put_off(clock, office):
    builders.person("supervisor", "nessa", email="nessa@example.org")
    office.mood = mood.NOT_YOU
    assert "553 not your address" in send()[1]
    assert outcomes() == ["later"]
    office.mood = mood.TAKE
    clock.move_to(MONDAY + timedelta(minutes=15))
    assert send()[1] == ""
    assert sorted(address for address, _raw in office.taken) == ["ines@example.org", "nessa@example.org"]


def test_a_mail_server_that_is_away_for_days_loses_nothing(clock, office, settings):
    settings.EMAIL_PORT = 9  # nobody listens there
    for hours in range(0, 3 * 24, 6):
        clock.move_to(MONDAY + timedelta(hours=hours))
        assert "ines@example.org" in send()[1]
    settings.EMAIL_PORT = office.port
    clock.move_to(MONDAY + WEEK)
    assert send()[1] == ""
    assert office.weeks == WEEKS[:2]


def test_one_bad_address_keeps_the_mail_from_nobody_else(clock, office):
    builders.person("supervisor", "abel", email="gone@example.org")
    office.moods["gone@example.org"] = mood.UNKNOWN_USER
    assert "550 no such user" in send()[1]
    assert [address for address, _raw in office.taken] == ["ines@example.org"]


def test_no_password_is_told_or_kept(clock, office, settings, monkeypatch):
    settings.EMAIL_HOST_PASSWORD = "hunter-of-voles"

    def leaking(_letter):
        raise OSError("cannot log in with hunter-of-voles")

    monkeypatch.setattr(posting, "_send", leaking)
    assert "cannot log in with ***" in send()[1]
    assert "hunter" not in MailOutcome.objects.get().detail


# A process that dies, and two at once


def test_killed_after_the_server_said_yes_it_is_sent_again_as_the_same_mail_and_says_so(
    clock, office, monkeypatch
):
    honest = posting.append

    def killed(row):
        if isinstance(row, MailOutcome):
            raise KeyboardInterrupt
        honest(row)

    monkeypatch.setattr(posting, "append", killed)
    with pytest.raises(KeyboardInterrupt):
        send()
    monkeypatch.setattr(posting, "append", honest)
    assert outcomes() == []
    assert "another process is sending it" in send()[0]  # until its lease is over
    clock.move_to(MONDAY + timedelta(minutes=16))
    said, wrong = send()
    assert "it may arrive twice, under one Message-ID" in said
    assert wrong == ""
    (first, second) = office.taken
    assert first == second


def test_killed_before_anything_was_sent_nothing_is_lost(clock, office, monkeypatch):
    def killed(_letter):
        raise KeyboardInterrupt

    honest = posting._send
    monkeypatch.setattr(posting, "_send", killed)
    with pytest.raises(KeyboardInterrupt):
        send()
    monkeypatch.setattr(posting, "_send", honest)
    clock.move_to(MONDAY + timedelta(minutes=16))
    send()
    assert office.weeks == ["2026-W38"]


def test_a_process_that_loses_the_race_for_an_attempt_sends_nothing(clock, office, monkeypatch):
    """Both looked before either had claimed: the second finds the number taken."""
    send()
    report = WeeklyReport.objects.get()
    monkeypatch.setattr(posting, "tried", lambda _message_id: [])
    assert posting.post(weekly.letter_of(report, "ines@example.org")).state == "busy"
    assert len(office.taken) == 1


def test_a_process_that_loses_the_race_for_a_week_keeps_the_report_of_the_other(clock, office, monkeypatch):
    honest = weekly.compose

    def overtaken(*args, **choices):
        made = honest(*args, **choices)
        monkeypatch.setattr(weekly, "compose", honest)
        send()
        return made

    monkeypatch.setattr(weekly, "compose", overtaken)
    said, _wrong = send()
    assert "2026-W38 was made by another process." in said
    assert WeeklyReport.objects.count() == 1
    assert office.weeks == ["2026-W38"]


@pytest.mark.django_db(transaction=True)
def test_two_at_once_send_one_mail(clock, office):
    start, ended = threading.Barrier(2), []

    def one():
        try:
            start.wait(20)
            ended.append(weekly.run(MONDAY).trouble)
        finally:
            connection.close()

    threads = [threading.Thread(target=one) for _twice in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert ended == [[], []]
    assert WeeklyReport.objects.count() == MailAttempt.objects.count() == len(office.taken) == 1


# Nobody, nowhere, and what cannot be read


def test_nobody_to_mail_is_never_silent_and_the_first_address_gets_what_waits(clock, office, cast):
    cast.ines.is_active = False
    cast.ines.save()
    assert "Nobody is mailed" in send()[1]
    clock.move_to(MONDAY + WEEK)
    assert "Nobody is mailed" in send()[1]
    posting.append(MailAddress(address="safety@example.org", mailed=True))
    assert send()[1] == ""
    assert office.weeks == WEEKS[:2]


def test_without_a_mail_server_the_report_is_kept_and_it_is_said(clock, settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    assert "No mail server is set" in send()[1]
    assert WeeklyReport.objects.count() == 1
    assert not MailAttempt.objects.exists()


def test_one_item_that_cannot_be_read_stops_neither_report_nor_mail_and_the_status_says_so(clock, office):
    builders.blanket("B-2", at=builders.holder("truck", "T-12"))
    ItemState.objects.filter(item__item_no="B-2").update(facts={"v": "poison"})
    assert "B-2 cannot be relied upon" in send()[1]
    assert office.weeks == ["2026-W38"]
    assert WeeklyReport.objects.get().faulty == ["B-2"]


def test_a_pdf_that_cannot_be_set_is_waited_for_and_then_the_report_goes_without(clock, office, monkeypatch):
    def broken(_week):
        raise composing.NotSet("no memory")

    monkeypatch.setattr(composing, "weekly_pdf", broken)
    assert "its PDF could not be set" in send()[1]
    assert not WeeklyReport.objects.exists()
    clock.move_to(MONDAY + timedelta(hours=2))
    assert send()[1] == ""
    assert "The PDF could not be made this time" in office.letters[0][1].get_body().get_content()


def test_whoever_is_bound_to_a_depot_gets_the_report_of_that_depot(clock, office):
    point = Depot.objects.create(name="Ferrow Point")
    builders.person("supervisor", "nessa", email="nessa@example.org", depot=point)
    send()
    told = {address: letter.get_body().get_content() for address, letter in office.letters}
    assert "B-1" in told["ines@example.org"]
    assert "B-1" not in told["nessa@example.org"]
    assert "Only gear held in Ferrow Point." in told["nessa@example.org"]
    assert set(WeeklyReport.objects.values_list("depot", flat=True)) == {"", "Ferrow Point"}


def test_bytes_that_were_changed_are_found(clock, office, past_the_guards):
    send()
    past_the_guards("UPDATE reports_weeklyfile SET content = %s WHERE kind = 'csv'", b"another")
    assert [one.code for one in sent_problems()] == ["SENT_FILE_CHANGED"]
    past_the_guards("DELETE FROM reports_weeklyfile WHERE kind = 'csv'")
    assert [one.code for one in sent_problems()] == ["SENT_FILE_MISSING"]
    assert WeeklyFile.objects.count() == 2
