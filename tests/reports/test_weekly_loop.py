"""The weekly report beside that of a week before: it reconciles, nothing slips out, and promises fit their spell."""

import random
from dataclasses import replace
from datetime import date, timedelta

import pytest
import time_machine

from gear.ledger import append
from gear.models import ItemState
from gear.queries import fleet, question, question_in
from inspections.queries.missed import missed
from reports import queries
from reports.rules.overdue import Scope
from reports.wording import weekly_json
from tests import builders
from tests.inspections.sealed_rows import load_check
from tests.reports.harbour import MONDAY
from tests.reports.loop_rows import exception_end, exception_note, promise
from tests.reports.test_same_verdicts import befallen, fleet_of

pytestmark = pytest.mark.django_db
A_WEEK_AGO = MONDAY - timedelta(days=7)


def weekly(day="", scope=None):
    return queries.weekly(question_in(day), scope=scope or Scope())


def line_of(week, item_no):
    return next((one for one in week.report.usable_now if one.item_no == item_no), None)


@pytest.fixture
def made_up(request, cast, monday):
    """A fleet made up by chance, and what befell a third of it besides."""
    from gear.models import Item

    chance = random.Random(request.param)
    numbers = fleet_of(chance)
    for one in Item.objects.filter(item_no__in=chance.sample(numbers, len(numbers) // 3)):
        befallen(one, chance)
    return numbers


@pytest.mark.parametrize("made_up", [3, 4], indirect=True)
def test_the_counts_are_those_of_two_questions_and_the_lists_reconcile_for_any_fleet(made_up):
    week, before = weekly(), weekly(A_WEEK_AGO.isoformat())
    loop, lines = week.report.loop, week.report.usable_now
    assert {one.item_no for one in lines} == {
        answer.item_no for answer, facts in fleet(question()) if facts.usable and answer.verdict != "good"
    }
    assert loop.overdue.now == week.report.counts.overdue
    assert loop.blocked.now == week.report.counts.blocked + week.report.counts.unknown_in_hands
    assert (loop.overdue.before, loop.blocked.before) == (
        before.report.loop.overdue.now,
        before.report.loop.blocked.now,
    )
    assert loop.overdue.still + loop.blocked.still == sum(one.carried for one in lines)
    then = {one.item_no for one in before.report.usable_now}
    assert {one.item_no for one in lines if one.carried} <= then
    assert [one.carried for one in lines] == sorted((one.carried for one in lines), reverse=True)
    totals = week.report.totals
    assert sum(totals.values()) == 2 * totals["items_in_book"] == 2 * len(made_up)


def test_from_a_truck_to_a_shelf_a_piece_changes_its_section(fleet):
    before = weekly()
    assert line_of(before, "B-held")
    builders.happened(fleet.held, "moved", holder=builders.holder("shelf", "Shelf B").as_fact(), on=MONDAY)
    after = weekly()
    assert line_of(after, "B-held") is None
    assert "B-held" in [one.item_no for one in after.report.off_the_road]
    assert after.report.totals == before.report.totals
    assert after.report.loop.blocked.now == before.report.loop.blocked.now - 1
    assert after.report.loop.blocked.before == before.report.loop.blocked.before  # what was, was


def test_three_that_are_lost_are_counted_still(fleet):
    before = weekly()
    for one in (fleet.due_in_0, fleet.due_in_7, fleet.over_far):
        builders.happened(one, "lost", reason="not on the truck", on=MONDAY)
    after = weekly()
    assert after.report.totals["items_in_book"] == before.report.totals["items_in_book"]
    assert after.report.totals["lost"] == before.report.totals["lost"] + 3
    assert {"B-due_in_0", "B-due_in_7", "B-over_far"} <= {one.item_no for one in after.report.usable_now}
    assert {one.item_no for one in after.lost} == {"B-lost", "B-due_in_0", "B-due_in_7", "B-over_far"}
    assert after.report.loop.overdue.now == before.report.loop.overdue.now  # to lose it makes no count better


def test_what_was_open_last_week_stands_first_in_its_crew(fleet):
    week = weekly()
    numbers = [one.item_no for one in week.report.usable_now]
    assert numbers[:3] == ["B-contracted", fleet.left.item_no, fleet.right.item_no]
    assert line_of(week, fleet.left.item_no).open_since == date(2026, 8, 1)
    assert (line_of(week, "B-held").open_since, line_of(week, "B-held").carried) == (date(2026, 9, 11), False)


# Promises


def test_the_newest_promise_stands_and_one_that_went_by_is_broken(fleet):
    append(promise(item=fleet.left, owner=fleet.cast.dev, promised_on=MONDAY))
    with time_machine.travel("2026-09-14T15:00:00+00:00", tick=False):
        append(promise(item=fleet.left, owner=fleet.cast.bertrand, promised_on=MONDAY + timedelta(days=2)))
        promised = line_of(weekly(), fleet.left.item_no).promised
    assert (promised.owner, promised.promised_on) == ("bertrand", MONDAY + timedelta(days=2))
    with time_machine.travel("2026-09-17T15:00:00+00:00", tick=False):
        week = weekly()
        assert line_of(week, fleet.left.item_no).promised.broken(week.report.heading.as_of)


def test_a_promise_changes_no_verdict_no_date_and_no_count(fleet):
    before = weekly().report
    append(promise(item=fleet.held, promised_on=MONDAY))
    after = weekly().report
    assert after.counts == before.counts
    assert after.loop == before.loop
    bare = [replace(one, promised=None) for one in after.usable_now]
    assert bare == list(before.usable_now)


def test_a_promise_of_another_spell_does_not_count(fleet):
    """Handed in on Tuesday, back on the truck on Friday as bad as before: that asks for a new promise."""
    append(promise(item=fleet.held, promised_on=MONDAY + timedelta(days=1)))
    assert line_of(weekly(), "B-held").promised
    for moment, holder in (
        ("2026-09-15T12:00:00+00:00", builders.holder("shelf", "Shelf B")),
        ("2026-09-18T12:00:00+00:00", builders.holder("truck", "T-12")),
    ):
        with time_machine.travel(moment, tick=False):
            builders.happened(fleet.held, "moved", holder=holder.as_fact())
    with time_machine.travel("2026-09-18T13:00:00+00:00", tick=False):
        line = line_of(weekly(), "B-held")
        assert line.promised is None
        assert (line.open_since, line.carried) == (date(2026, 9, 18), False)


def test_a_past_report_tells_the_promises_of_then(fleet):
    with time_machine.travel("2026-09-16T12:00:00+00:00", tick=False):
        append(promise(item=fleet.left, promised_on=date(2026, 9, 20)))
        assert line_of(weekly("2026-09-15"), fleet.left.item_no).promised is None
        assert line_of(weekly(), fleet.left.item_no).promised


# Missing from the last walk


def test_what_the_last_walk_did_not_see_is_counted_beside_last_week(fleet):
    truck = builders.holder("truck", "T-12")
    walk = [{"no": "B-due_in_7", "state": "not_seen"}, {"no": "B-held", "state": "seen"}]
    for moment in ("2026-09-05T10:00:00+00:00", "2026-09-12T10:00:00+00:00"):
        with time_machine.travel(moment, tick=False):
            append(load_check(truck=truck, pieces=walk))
    week = weekly()
    assert [(one.item_no, one.truck) for one in week.missing] == [("B-due_in_7", "T-12")]
    assert week.missing[0].walked_on == date(2026, 9, 12)
    assert vars(week.report.loop.missing) == {"now": 1, "before": 1, "still": 1}
    assert [one.item_no for one in missed(question_in("2026-09-04"))] == []
    assert weekly(scope=Scope("crew", "Crew 9")).report.loop.missing.now == 0
    builders.happened(fleet.due_in_7, "moved", holder=builders.holder("shelf", "Shelf B").as_fact())
    assert vars(weekly().report.loop.missing) == {"now": 0, "before": 1, "still": 0}


# Exceptions


def test_an_exception_stands_on_every_report_until_it_ends_and_changes_nothing(fleet):
    before = weekly()
    note = exception_note(about="crew", crew=fleet.cast.crew, ends_on=MONDAY + timedelta(days=3))
    append(note)
    after = weekly()
    assert after.report == before.report
    assert [one.name for one in after.exceptions] == ["Storm week"]
    assert weekly_json(after)["loop"]["exceptions"][0]["ends_on"] == "2026-09-17"
    assert weekly(scope=Scope("crew", "Crew 9")).exceptions == ()
    with time_machine.travel("2026-09-18T12:00:00+00:00", tick=False):
        assert weekly().exceptions == ()
        assert [one.name for one in weekly("2026-09-17").exceptions] == ["Storm week"]
    with time_machine.travel("2026-09-15T12:00:00+00:00", tick=False):
        append(exception_end(exception=note))
        assert weekly().exceptions == ()


def test_the_queries_do_not_grow_with_lines_promises_and_exceptions(cast, monday):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def more(count):
        truck = builders.holder("truck", "T-12")
        for _turn in range(count):
            old = builders.blanket(received_on=date(2025, 1, 2), at=truck)
            builders.happened(old, "held", reason="odd smell")
            lost = builders.blanket(received_on=date(2025, 1, 2), at=truck)
            builders.happened(lost, "lost", reason="gone")
            append(promise(item=old))
            append(exception_note(about="item", item=old))
            append(load_check(truck=truck, pieces=[{"no": old.item_no, "state": "not_seen"}]))

    def counted():
        with CaptureQueriesContext(connection) as seen:
            weekly()
        return len(seen)

    more(2)
    first = counted()
    more(6)
    assert counted() == first


def test_an_exception_about_a_piece_whose_state_is_missing_breaks_no_report(cast, monday):
    blanket = builders.blanket("B-1", at=builders.holder("truck", "T-12"))
    append(exception_note(about="item", item=blanket))
    ItemState.objects.filter(item=blanket).delete()
    week = weekly()
    assert week.report.faulty == ("B-1",)
    assert [one.subject for one in week.exceptions] == ["B-1"]
