"""The overdue report sorts every item into one list, in the order a supervisor calls, and its sums are checked."""

import dataclasses
from datetime import UTC, date, datetime, timedelta

import pytest

from gear.rules import packs
from gear.rules.clocks import Clock
from gear.rules.entries import CONDITIONS, HOLDER_KINDS
from gear.rules.fold import Happening, ItemFacts
from gear.rules.policy import SitePolicy
from gear.rules.readiness import Answer, Reason, Rules
from reports.rules.overdue import (
    DoesNotReconcile,
    Heading,
    Place,
    Scope,
    by_crew,
    overdue,
    reconciled,
)

MONDAY = date(2026, 9, 14)
MORNING = datetime(2026, 9, 14, 9, 40, tzinfo=UTC)
HEADING = Heading(MONDAY, MORNING, MORNING, "America/New_York", "us_federal 1")
RULES = Rules(packs.load("us_federal", "1"), SitePolicy())


def judged(
    item_no="B-1", *reasons, verdict=None, days=None, at=("truck", "T-12"), crew=None, depot=None, **facts
):
    """An item with the answer it got: good without reasons, `days` before (or, if negative, past) its last good day."""
    clocks = (Clock(MONDAY + timedelta(days=days), "last_test+12", "Table I-5"),) if days is not None else ()
    answer = Answer(
        item_no,
        "blanket",
        "2",
        verdict or ("stop" if reasons else "good"),
        MONDAY,
        clocks[0].good_through if clocks else None,
        clocks,
        tuple(Reason(code, "a source") for code in reasons),
    )
    holder = {"kind": at[0], "name": at[1], "crew": crew, "depot": depot} if at else None
    return answer, ItemFacts(item_no, holder=holder, **facts)


def report_of(*items, scope=None, **others):
    return overdue(items, heading=dataclasses.replace(HEADING, scope=scope or Scope()), **others)


def numbers(lines):
    return [line.item_no for line in lines]


# Which list


@pytest.mark.parametrize(
    ("kind", "listed"),
    [
        ("person", "usable_now"),
        ("truck", "usable_now"),
        ("crew", "usable_now"),
        ("contractor", "usable_now"),
        ("shelf", "off_the_road"),
        ("bench", "off_the_road"),
        ("lab", "off_the_road"),
    ],
)
@pytest.mark.parametrize("code", ["OUT_OF_DATE", "HELD", "LOST", "NEVER_TESTED", "NEEDS_CLEANING"])
def test_what_is_not_good_is_listed_by_where_it_is(kind, listed, code):
    report = report_of(judged("B-1", code, at=(kind, "somewhere")))
    assert {name: numbers(getattr(report, name)) for name in ("usable_now", "off_the_road")} == {
        "usable_now": ["B-1"] if listed == "usable_now" else [],
        "off_the_road": ["B-1"] if listed == "off_the_road" else [],
    }


def test_unknown_is_listed_as_stop_is():
    report = report_of(judged("B-1", "CHAIN_BROKEN", verdict="unknown"))
    assert numbers(report.usable_now) == ["B-1"]


@pytest.mark.parametrize(
    ("place", "usable_now", "gone"), [("person", ["B-1"], 0), ("bench", [], 1), ("shelf", [], 1)]
)
def test_a_destroyed_item_is_listed_only_where_somebody_still_has_it(place, usable_now, gone):
    scrap = Happening("destroyed", MONDAY, "an entry")
    report = report_of(judged("B-1", "DESTROYED", at=(place, "somewhere"), destroyed=scrap))
    assert (numbers(report.usable_now), report.off_the_road, report.gone) == (usable_now, (), gone)
    assert (report.totals["destroyed"], report.totals["items_in_book"]) == (1, 1)


@pytest.mark.parametrize(
    ("days", "listed"), [(0, True), (7, True), (8, True), (28, True), (29, False), (None, False)]
)
@pytest.mark.parametrize("place", sorted(HOLDER_KINDS))
def test_due_soon_is_good_with_at_most_28_days_left_wherever_it_is(days, listed, place):
    report = report_of(judged("B-1", days=days, at=(place, "somewhere")))
    assert numbers(report.due_soon) == (["B-1"] if listed else [])
    assert report.good == 1


def test_a_stopped_item_is_not_due_soon_and_has_no_days_left():
    report = report_of(judged("B-1", "HELD", days=3))
    assert report.due_soon == ()
    assert report.usable_now[0].days_left is None


def test_due_soon_falls_into_steps_of_7_14_and_28_days():
    items = [judged(f"B-{days:02}", days=days) for days in (0, 7, 8, 14, 15, 28)]
    report = report_of(*items)
    assert [(last, numbers(lines)) for last, lines in report.due_by_step] == [
        (7, ["B-00", "B-07"]),
        (14, ["B-08", "B-14"]),
        (28, ["B-15", "B-28"]),
    ]


def test_an_item_whose_place_is_not_on_record_is_off_the_road_and_named_on_page_one():
    report = report_of(judged("B-1", "RECORD_UNREADABLE", verdict="unknown", at=None, unreadable=["entries"]))
    assert numbers(report.off_the_road) == numbers(report.unplaced) == ["B-1"]


# The line


def test_days_over_is_given_only_past_the_last_good_day():
    report = report_of(
        judged("B-1", "OUT_OF_DATE", days=-12), judged("B-2", "HELD", days=0), judged("B-3", "NEVER_TESTED")
    )
    assert {line.item_no: line.days_over for line in report.usable_now} == {
        "B-1": 12,
        "B-2": None,
        "B-3": None,
    }


def test_a_line_says_what_where_until_when_and_by_which_clock():
    line = report_of(
        judged("B-1", "OUT_OF_DATE", days=-1, crew="Crew 7", depot="Harbour depot", set_no="S-1")
    ).usable_now[0]
    assert (line.kind, line.cls, line.holder_kind, line.holder) == ("blanket", "2", "truck", "T-12")
    assert (line.crew, line.depot, line.set_no) == ("Crew 7", "Harbour depot", "S-1")
    assert (line.good_through, line.winning_clock) == (date(2026, 9, 13), "last_test+12")


def test_the_crew_of_today_counts_before_the_one_written_down_at_issue():
    item = judged("B-1", "HELD", at=("person", "Dev"), crew="Crew 7", depot="Harbour depot")
    moved = report_of(item, places={("person", "Dev"): Place("Crew 9", None)}).usable_now[0]
    assert (moved.crew, moved.depot) == ("Crew 9", "Harbour depot")


def test_a_shelf_stands_where_the_record_of_the_item_says():
    item = judged("B-1", "HELD", at=("shelf", "Rack 1"), depot="Upper Clay")
    line = report_of(item, places={("shelf", "Rack 1"): Place("Crew 9", "Harbour depot")}).off_the_road[0]
    assert (line.crew, line.depot) == ("Crew 9", "Upper Clay")


# The order


def test_worst_reason_first_then_days_over_then_number():
    report = report_of(
        judged("B-6", "NEEDS_CLEANING"),
        judged("B-2", "OUT_OF_DATE", days=-3),
        judged("B-3", "OUT_OF_DATE", days=-30),
        judged("B-5", "OUT_OF_DATE", days=-3),
        judged("B-4", "FAILED_TEST"),
        judged("B-1", "CHAIN_BROKEN", verdict="unknown"),
    )
    assert numbers(report.usable_now) == ["B-1", "B-4", "B-3", "B-2", "B-5", "B-6"]


def test_the_crew_and_the_holder_with_the_worst_item_come_first():
    report = report_of(
        judged("B-1", "OUT_OF_DATE", days=-3, at=("person", "Dev"), crew="Crew 7"),
        judged("B-2", "OUT_OF_DATE", days=-9, at=("truck", "T-19"), crew="Crew 9"),
        judged("B-3", "FAILED_TEST", at=("person", "Marisol"), crew="Crew 7"),
        judged("B-4", "OUT_OF_DATE", days=-2, at=("person", "Marisol"), crew="Crew 7"),
    )
    told = [
        (group.crew, [(holder.name, numbers(holder.lines)) for holder in group.holders])
        for group in by_crew(report.usable_now)
    ]
    assert told == [
        ("Crew 7", [("Marisol", ["B-3", "B-4"]), ("Dev", ["B-1"])]),
        ("Crew 9", [("T-19", ["B-2"])]),
    ]


def test_due_soon_is_sorted_by_days_left():
    report = report_of(*[judged(f"B-{days}", days=days) for days in (9, 2, 5)])
    assert numbers(report.due_soon) == ["B-2", "B-5", "B-9"]


# The counts of page one


def test_page_one_counts_overdue_stopped_lost_and_unknown():
    lost = Happening("lost", MONDAY, "an entry")
    report = report_of(
        judged("B-1", "OUT_OF_DATE", days=-12),
        judged("B-2", "LOST", "OUT_OF_DATE", days=-40, lost=lost),
        judged("B-3", "LOST", at=("shelf", "B"), lost=lost),
        judged("B-4", "HELD"),
        judged("B-5", "CHAIN_BROKEN", "OUT_OF_DATE", days=-99, verdict="unknown"),
        judged("B-6", "UNKNOWN_KIND", verdict="unknown", at=("shelf", "B")),
    )
    counts = report.counts
    assert (counts.overdue, counts.blocked, counts.unknown_in_hands) == (2, 1, 1)
    assert (counts.lost, counts.unknown) == (2, 2)
    assert counts.oldest_days_over == 40  # the 99 days of a broken record are no knowledge


def test_losing_an_overdue_item_makes_no_count_better():
    over = judged("B-1", "OUT_OF_DATE", days=-12)
    lost = judged("B-1", "LOST", "OUT_OF_DATE", days=-12, lost=Happening("lost", MONDAY, "an entry"))
    assert report_of(over).counts.overdue == report_of(lost).counts.overdue == 1


# The sums


def test_totals_name_every_condition_and_sum_to_the_items_in_the_book():
    report = report_of(
        judged("B-1"),
        judged("B-2", "HELD", holds=[Happening("held", MONDAY, "an entry")]),
        judged("B-3", "LOST", lost=Happening("lost", MONDAY, "an entry")),
    )
    assert report.totals == {
        **dict.fromkeys(CONDITIONS, 0),
        "ok": 1,
        "held": 1,
        "lost": 1,
        "items_in_book": 3,
    }


def test_an_empty_book_is_a_report_too():
    report = report_of()
    assert report.totals == {**dict.fromkeys(CONDITIONS, 0), "items_in_book": 0}


@pytest.mark.parametrize("bounds", [(3, 5), (0, 1)])
def test_a_book_with_more_or_fewer_items_than_the_table_raises(bounds):
    with pytest.raises(DoesNotReconcile, match="2 items were judged"):
        report_of(judged("B-1"), judged("B-2"), bounds=lambda: bounds)


def test_the_table_may_grow_while_the_report_is_made():
    assert report_of(judged("B-1"), judged("B-2"), bounds=lambda: (1, 2)).good == 2


def test_an_item_judged_twice_raises():
    with pytest.raises(DoesNotReconcile, match="B-1 was judged twice"):
        report_of(judged("B-1"), judged("B-1"))


@pytest.mark.parametrize(
    "change",
    [
        {"usable_now": ()},
        {"good": 2},
        {"gone": 1},
        {"totals": {"ok": 1, "items_in_book": 2}},
        {"totals": {"ok": 2, "items_in_book": 3}},
    ],
)
def test_sums_that_differ_raise(change):
    report = report_of(judged("B-1"), judged("B-2", "OUT_OF_DATE", days=-1))
    assert reconciled(report) is report
    with pytest.raises(DoesNotReconcile):
        reconciled(dataclasses.replace(report, **change))


def test_counts_that_do_not_cover_page_one_raise():
    report = report_of(judged("B-2", "OUT_OF_DATE", days=-1))
    wrong = dataclasses.replace(report.counts, overdue=0)
    with pytest.raises(DoesNotReconcile):
        reconciled(dataclasses.replace(report, counts=wrong))


# One broken record


@pytest.mark.parametrize("holder", [{"name": "T-12"}, "T-12", 7, {"kind": ["truck"], "name": "T-12"}])
def test_facts_that_cannot_be_read_are_listed_as_unknown_and_hide_no_other(holder):
    answer, facts = judged("B-1", days=10)
    facts.holder = holder
    report = report_of((answer, facts), judged("B-2", "OUT_OF_DATE", days=-1))
    assert numbers(report.usable_now) == ["B-2"]
    (line,) = report.off_the_road
    assert (line.item_no, line.verdict, line.condition) == ("B-1", "unknown", "unknown")
    assert line.reasons[0].code == "RECORD_UNREADABLE"
    assert report.due_soon == ()  # whatever the answer was
    assert report.faulty == ("B-1",)
    assert (report.totals["unknown"], report.totals["items_in_book"]) == (1, 2)


@pytest.mark.parametrize(
    ("code", "faulty"),
    [
        ("CHAIN_BROKEN", ("B-1",)),
        ("PACK_REFUSED", ("B-1",)),
        ("CLOCK_BEHIND", ("B-1",)),
        ("RECORD_UNREADABLE", ("B-1",)),
        ("UNKNOWN_KIND", ()),
        ("OUT_OF_DATE", ()),
    ],
)
def test_what_is_wrong_with_the_record_is_told_from_what_is_wrong_with_the_item(code, faulty):
    assert report_of(judged("B-1", code)).faulty == faulty


# Whose gear

THREE = (
    judged("B-1", "HELD", crew="Crew 7", depot="Harbour depot"),
    judged("B-2", "HELD", at=("truck", "T-19"), crew="Crew 9", depot="Ferrow Point"),
    judged("B-3", "HELD", at=("contractor", "Penrose"), crew=None, depot=None),
)


@pytest.mark.parametrize(
    ("scope", "seen"),
    [
        (Scope(), ["B-1", "B-2", "B-3"]),
        (Scope("crew", "Crew 7"), ["B-1"]),
        (Scope("depot", "Ferrow Point"), ["B-2"]),
        (Scope("crew", None), []),
        (Scope("crew", ""), []),
    ],
)
def test_a_scope_narrows_lists_and_counts(scope, seen):
    report = report_of(*THREE, scope=scope)
    assert numbers(report.usable_now) == seen
    assert report.totals["items_in_book"] == report.counts.blocked == len(seen)


def test_a_scoped_report_is_the_same_with_and_without_the_gear_of_others():
    scope = Scope("crew", "Crew 7")
    assert report_of(*THREE, scope=scope) == report_of(THREE[0], scope=scope)
