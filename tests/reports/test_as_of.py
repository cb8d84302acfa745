"""A past report made again: what was known then never changes, and what differs now is explained by later entries."""

import csv
import io
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from gear import queries
from gear.ledger import Draft, record_many
from gear.queries import question
from reports.actions.weekly import run
from reports.models import WeeklyReport
from reports.queries.asof import held_against_sent, question_of, two_reports
from reports.queries.overdue import overdue_report
from reports.rules.overdue import Scope
from reports.spreadsheets import csv_lines
from tests import builders
from tests.reports.stories import Story

pytestmark = pytest.mark.django_db
FIRST = datetime(2026, 8, 1, 14, tzinfo=UTC)


def contents(report):
    """All that a report says, but for when and by whom it was made."""
    heading = replace(report.heading, made_at=None, seal=None, known_at=None)
    visitors = contents(report.visitors) if report.visitors else None
    return replace(report, heading=heading, visitors=visitors)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_any_moment_made_again_is_what_was_told_at_that_moment(cast, seed):
    moment, told = FIRST, {}
    with time_machine.travel(moment, tick=False):
        story = Story(cast, seed)
    for number in range(90):
        moment += timedelta(hours=11)
        with time_machine.travel(moment, tick=False):
            story.step()
        if number % 10 == 9:
            with time_machine.travel(moment + timedelta(minutes=1), tick=False):
                told[timezone.now()] = overdue_report(question(), scope=Scope())
    learned = 0
    with time_machine.travel(moment + timedelta(days=3), tick=False):
        for at, report in told.items():
            found = two_reports(report.heading.as_of, at, scope=Scope())
            assert contents(found.then) == contents(report)
            assert found.doubtful == ()
            again = overdue_report(question(report.heading.as_of, known_at=at), scope=Scope())
            assert contents(again) == contents(report)
            now = two_reports(report.heading.as_of, timezone.now(), scope=Scope())
            assert contents(now.then) == contents(now.now)
            assert now.different == ()
            unexplained = [one.item_no for one in found.different if not found.causes[one.item_no]]
            assert unexplained == []
            learned += len(found.different)
    assert learned > 10  # the story held late entries that mattered


@pytest.fixture
def late(fleet, cast):
    """On Thursday it is entered that a blanket was rejected on Monday, before the report of that day was made."""
    at = timezone.now()
    with time_machine.travel(at + timedelta(days=3), tick=False):
        draft = Draft(
            fleet.due_in_0, "rejected", {"reason": "cut"}, occurred_on=fleet.monday - timedelta(days=1)
        )
        record_many([draft], by=cast.orla, via="web")
        yield at


def test_a_late_entry_changes_what_is_known_now_and_never_what_was_known_then(late, fleet):
    found = two_reports(fleet.monday, late, scope=Scope())
    (pair,) = found.different
    assert (pair.item_no, pair.then.list, pair.now.list) == ("B-due_in_0", "due_soon", "usable_now")
    assert "verdict" in pair.changed
    (cause,) = found.causes["B-due_in_0"]
    assert (cause.kind, cause.recorded_at > late) == ("rejected", True)
    assert found.now.counts.blocked == found.then.counts.blocked + 1


def test_what_a_mate_did_explains_the_piece(fleet, cast):
    at = timezone.now()
    with time_machine.travel(at + timedelta(days=1), tick=False):
        draft = Draft(fleet.left, "rejected", {"reason": "cut"}, occurred_on=fleet.monday)
        record_many([draft], by=cast.orla, via="web")
        found = two_reports(fleet.monday, at, scope=Scope())
        assert {one.item_no for one in found.different} == {fleet.left.item_no, fleet.right.item_no}
        assert [one.item for one in found.causes[fleet.right.item_no]] == [fleet.left]


def test_the_page_shows_both_sides_and_the_entry_between_them(client, cast, late, fleet):
    client.force_login(cast.halvard)
    asked = {"as_of": "2026-09-14", "known_at": late.isoformat()}
    page = client.get(reverse("fleet_as_of"), asked).content.decode()
    assert "1 row differs" in page
    assert "Rejected" in page
    assert "B-due_in_0" in page
    rows = list(csv.DictReader(io.StringIO(b"".join(client.get(reverse("fleet_as_of_csv"), asked)).decode())))
    (different,) = [row for row in rows if row["same"] == "no"]
    assert (different["verdict_then"], different["verdict_now"]) == ("good", "stop")
    assert different["recorded_later"]


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"as_of": "2026-9-14"}, "not a date like"),
        ({"as_of": "2027-01-01"}, "lies in the future"),
        ({"as_of": "2026-09-14", "known_at": "06:00"}, "is no moment"),
        ({"as_of": "2026-09-14", "known_at": "2027-01-01T00:00:00Z"}, "lies in the future"),
    ],
)
def test_a_day_that_cannot_be_read_gives_no_report(client, cast, monday, asked, sentence):
    client.force_login(cast.halvard)
    answer = client.get(reverse("fleet_as_of"), asked)
    assert answer.status_code == 400
    assert sentence in answer.content.decode()
    assert "totals" not in answer.context


def test_a_report_as_it_was_sent_has_the_same_rows_when_made_again(client, cast, fleet, monkeypatch):
    monkeypatch.setattr("reports.actions.composing.weekly_pdf", lambda *_a, **_k: b"%PDF-1.7")
    with time_machine.travel(datetime(2026, 9, 21, 12, tzinfo=UTC), tick=False):
        run(timezone.now())
        kept = WeeklyReport.objects.get(week="2026-W39", depot="")
    with time_machine.travel(datetime(2026, 10, 5, 12, tzinfo=UTC), tick=False):
        builders.happened(fleet.due_in_8, "rejected", reason="cut", on=date(2026, 9, 20))
        found = two_reports(*question_of(kept), scope=Scope())
        compared = held_against_sent(kept, csv_lines(found.then))
        assert (compared.whole, compared.differ, compared.identical) == (True, (), True)
        other = held_against_sent(kept, csv_lines(found.now))
        assert other.differ == ("B-due_in_8",)
        client.force_login(cast.halvard)
        page = client.get(reverse("fleet_as_of"), {"sent": kept.pk}).content.decode()
        assert "as it was sent: the same rows." in page
        assert "Every cell is the same" in page
        assert "1 row differs" in page


def test_the_number_of_queries_does_not_grow_with_the_book(fleet):
    with CaptureQueriesContext(connection) as few:
        two_reports(fleet.monday, timezone.now(), scope=Scope())
    for _one in range(15):
        builders.blanket()
    with CaptureQueriesContext(connection) as many:
        two_reports(fleet.monday, timezone.now(), scope=Scope())
    assert len(many) == len(few)


def test_a_visitors_piece_that_went_home_is_counted_as_gone_in_a_past_report_too(cast, monday):
    story = Story(cast, 1)
    story._go_home()
    with time_machine.travel(timezone.now() + timedelta(days=1), tick=False):
        assert overdue_report(question(monday), scope=Scope()).visitors.gone == 1
        assert story.visiting.item_no in {
            answer.item_no for answer, _facts in queries.fleet(question(monday))
        }
