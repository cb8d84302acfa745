"""Who is mailed is a choice that is kept; nobody and nothing set is an alarm, never silence."""

from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from gear.models import Depot
from gear.queries.health import AMBER, RED, WELL
from reports.actions import posting, weekly
from reports.models import MailAddress, MailPlan
from reports.queries.mail_health import check_mail
from reports.queries.recipients import Plan, Recipient, recipients
from tests import builders
from tests.reports import mail_rows
from tests.reports import post_office as mood
from tests.reports.post_office import post_office

pytestmark = pytest.mark.django_db
THURSDAY = datetime(2026, 9, 10, 15, tzinfo=UTC)
MONDAY = datetime(2026, 9, 14, 10, 0, tzinfo=UTC)  # 06:00 at the site
PAGE = "/site/mail/"


@pytest.fixture
def ines(cast):
    cast.ines.email = "ines@example.org"
    cast.ines.save()
    return signed_in(cast.ines)


def signed_in(person):
    client = Client()
    client.force_login(person)
    return client


def sent(client, what, **fields):
    return client.post(PAGE, {"what": what, **{f"{what}-{name}": value for name, value in fields.items()}})


# The list


def test_supervisors_are_mailed_by_their_role_and_leave_the_list_with_it(cast, ines):
    assert recipients() == [Recipient("ines@example.org", "", "ines")]
    cast.ines.is_active = False
    cast.ines.save()
    assert recipients() == []


def test_an_address_is_listed_and_struck_and_both_stay_on_record(cast, ines):
    point = Depot.objects.create(name="Ferrow Point")
    assert sent(ines, "list", address="safety@example.org", depot=point.pk).status_code == 302
    assert recipients()[1:] == [Recipient("safety@example.org", "Ferrow Point")]
    told = ines.get(PAGE).content.decode()
    assert "safety@example.org" in told
    assert ines.post(PAGE, {"what": "strike", "address": "Safety@example.org"}).status_code == 302
    assert [one.address for one in recipients()] == ["ines@example.org"]
    assert list(MailAddress.objects.order_by("at").values_list("mailed", "by__username")) == [
        (True, "ines"),
        (False, "ines"),
    ]


def test_the_same_address_twice_is_one_mail_and_the_whole_book_wins(cast, ines):
    point = Depot.objects.create(name="Ferrow Point")
    posting.append(MailAddress(address="INES@example.org", depot=point, mailed=True))
    assert recipients() == [Recipient("ines@example.org", "", "ines")]


@pytest.mark.parametrize("address", ["", "ines", "a b@example.org", "a@example.org\nBcc: b@example.org"])
def test_what_is_no_address_is_refused_beside_its_field(cast, ines, address):
    answer = sent(ines, "list", address=address)
    assert answer.status_code == 422
    assert 'id="id_list-address_error"' in answer.content.decode()
    assert not MailAddress.objects.exists()


def test_whoever_is_bound_to_a_depot_lists_for_that_depot_alone(cast):
    point = Depot.objects.create(name="Ferrow Point")
    nessa = signed_in(builders.person("supervisor", "nessa", depot=cast.depot))
    assert sent(nessa, "list", address="x@example.org", depot=point.pk).status_code == 422
    assert sent(nessa, "list", address="x@example.org").status_code == 422
    assert sent(nessa, "plan", monday_hour=7, quiet_from=20, quiet_until=5).status_code == 403
    assert sent(nessa, "list", address="x@example.org", depot=cast.depot.pk).status_code == 302
    posting.append(MailAddress(address="all@example.org", mailed=True))
    assert nessa.post(PAGE, {"what": "strike", "address": "all@example.org"}).status_code == 403
    assert sent(nessa, "list", address="All@example.org", depot=cast.depot.pk).status_code == 403
    assert recipients()[0] == Recipient("all@example.org")


def test_the_hours_are_kept_and_the_report_is_due_by_them(cast, ines):
    assert sent(ines, "plan", monday_hour=7, quiet_from=22, quiet_until=4).status_code == 302
    assert MailPlan.objects.get().monday_hour == 7
    assert sent(ines, "plan", monday_hour=7, quiet_from=22, quiet_until=4).status_code == 302
    assert MailPlan.objects.count() == 1


def test_the_auditor_reads_it_and_is_offered_nothing(cast, ines):
    told = signed_in(cast.halvard).get(PAGE).content.decode()
    assert "ines@example.org" in told
    assert 'name="what"' not in told


def test_a_test_mail_says_what_became_of_it(cast, ines, settings):
    with post_office(settings) as office:
        assert sent(ines, "test", address="ines@example.org").status_code == 302
        assert [address for address, _raw in office.taken] == ["ines@example.org"]
        office.mood = mood.UNKNOWN_USER
        answer = sent(ines, "test", address="ines@example.org")
        assert (answer.status_code, "550 no such user" in answer.content.decode()) == (502, True)


@pytest.mark.one_database
@pytest.mark.parametrize(
    ("plan", "quiet", "loud"),
    [(Plan(), (20, 23, 0, 4), (5, 12, 19)), (Plan(6, 1, 5), (1, 4), (0, 5)), (Plan(6, 8, 8), (), (8, 9))],
)
def test_quiet_hours_may_pass_midnight(plan, quiet, loud):
    assert [plan.is_quiet(hour) for hour in (*quiet, *loud)] == [True] * len(quiet) + [False] * len(loud)


# What is found out about it


@pytest.fixture
def kept(cast, ines, monkeypatch):
    """A record since Thursday; the PDF is not set."""
    monkeypatch.setattr("reports.actions.composing.weekly_pdf", lambda _week: b"%PDF-1.7")
    for one in (cast.orla, cast.bertrand):
        one.email = f"{one.username}@example.org"
        one.save()
    with time_machine.travel(THURSDAY, tick=False) as traveller:
        builders.blanket("B-1")
        yield traveller


def found(now):
    return [(one.code, one.level) for one in check_mail(now)]


def test_the_report_is_amber_when_due_red_when_late_and_well_once_it_was_taken(kept, settings):
    with post_office(settings) as office:
        assert found(MONDAY - timedelta(minutes=1)) == [("WEEKLY", WELL)]
        assert found(MONDAY) == [("WEEKLY_WAITS", AMBER)]
        assert found(MONDAY + timedelta(hours=4)) == [("WEEKLY_LATE", RED)]
        office.mood = mood.BUSY
        kept.move_to(MONDAY)
        weekly.run(MONDAY)
        assert found(MONDAY) == [("WEEKLY_WAITS", AMBER), ("MAIL_FAILED", AMBER)]
        office.mood = mood.TAKE
        kept.move_to(MONDAY + timedelta(minutes=15))
        weekly.run(MONDAY + timedelta(minutes=15))
        assert found(MONDAY + timedelta(hours=4)) == [("WEEKLY", WELL)]
        assert found(MONDAY + timedelta(days=8)) == [("WEEKLY_LATE", RED)]


def test_the_report_of_one_depot_that_could_not_be_made_is_no_silence(kept, cast, settings, monkeypatch):
    builders.person("supervisor", "nessa", email="nessa@example.org", depot=cast.depot)
    whole = weekly.compose

    def compose(asked, *, scope, **choices):
        if scope.kind == "depot":
            raise weekly.DoesNotReconcile("1 and 2.")
        return whole(asked, scope=scope, **choices)

    with post_office(settings):
        kept.move_to(MONDAY)
        monkeypatch.setattr(weekly, "compose", compose)
        assert weekly.run(MONDAY).trouble
        assert found(MONDAY + timedelta(hours=4)) == [("WEEKLY_LATE", RED)]
        monkeypatch.setattr(weekly, "compose", whole)
        assert not weekly.run(MONDAY).trouble
        assert found(MONDAY + timedelta(hours=4)) == [("WEEKLY", WELL)]


def test_nobody_to_mail_is_red_and_a_demo_is_never_red_for_it(kept, cast, settings):
    cast.ines.is_active = False
    cast.ines.save()
    assert found(MONDAY) == [("MAIL_NOBODY", RED)]
    settings.DEMO = True
    assert found(MONDAY) == [("MAIL_NOBODY", AMBER)]


def test_no_mail_server_is_red_once_a_report_is_due(kept, settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    assert found(THURSDAY) == [("MAIL_NOT_SET", AMBER)]
    assert found(MONDAY) == [("MAIL_NOT_SET", RED)]


def test_who_could_act_on_a_notice_and_has_no_address_is_named(kept, cast):
    cast.bertrand.email = ""
    cast.bertrand.save()
    (finding,) = check_mail(THURSDAY)
    assert (finding.code, finding.level) == ("NOTICE_NO_ADDRESS", AMBER)
    assert "bertrand" in finding.sentence


# The archive


def test_the_archive_tells_what_was_sent_to_whom_and_gives_the_bytes(kept, cast, settings, past_the_guards):
    with post_office(settings):
        kept.move_to(MONDAY)
        weekly.run(MONDAY)
    halvard = signed_in(cast.halvard)
    told = halvard.get("/reports/weekly/").content.decode()
    for wanted in ("2026-W38", "ines@example.org, 14 SEP 2026 06:00 EDT", "1 attempt", "weekly-2026-W38-"):
        assert wanted in told
    row = weekly.WeeklyReport.objects.get()
    answer = halvard.get(f"/reports/weekly/{row.pk}.csv")
    assert answer.content == bytes(row.files.get(kind="csv").content)
    assert row.hashes["csv"] in told
    past_the_guards("UPDATE reports_weeklyfile SET content = %s WHERE kind = 'csv'", b"another")
    answer = halvard.get(f"/reports/weekly/{row.pk}.csv")
    assert (answer.status_code, "is not the file that was sent" in answer.content.decode()) == (500, True)


def test_a_clerk_of_a_depot_reads_the_reports_of_that_depot_alone(cast):
    other = mail_rows.stored(mail_rows.weekly_report())
    clerk = signed_in(builders.person("clerk", "kerra", depot=cast.depot))
    assert "2026-W38" not in clerk.get("/reports/weekly/").content.decode()
    assert clerk.get(f"/reports/weekly/{other.pk}.csv").status_code == 404
    mail_rows.stored(mail_rows.weekly_report(depot=cast.depot.name))
    assert "2026-W38" in clerk.get("/reports/weekly/").content.decode()


def test_the_archive_asks_as_many_questions_of_many_weeks_as_of_one(cast):
    halvard, counts = signed_in(cast.halvard), []
    halvard.get("/reports/weekly/")
    for number in (30, 31, 32):
        report = mail_rows.stored(mail_rows.weekly_report(week=f"2026-W{number}"))
        mail_rows.stored(mail_rows.weekly_file(report=report))
        mail_rows.stored(
            mail_rows.mail_outcome(attempt=mail_rows.stored(mail_rows.mail_attempt(report=report)))
        )
        with CaptureQueriesContext(connection) as asked:
            assert f"2026-W{number}" in halvard.get("/reports/weekly/").content.decode()
        counts.append(len(asked))
    assert len(set(counts)) == 1
