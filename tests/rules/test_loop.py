"""Closing the loop: what was open a week ago stands first, and a promise counts for the spell it was made in."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from gear.rules.readiness import Reason
from gear.rules.spells import Spell
from reports.rules import loop
from reports.rules.loop import Before, Compared
from reports.rules.overdue import Counts, Heading, Line, OverdueReport, Promised, by_crew

MONDAY = date(2026, 9, 14)
NOW = datetime(2026, 9, 14, 9, 40, tzinfo=UTC)
A_WEEK_AGO = NOW - timedelta(days=7)


def line(item_no, *, code="OUT_OF_DATE", days_over=3, verdict="stop", holder="Dev", **columns):
    reasons = (Reason(code, "29 CFR 1910.137"),)
    known = {"holder": holder, "holder_kind": "person", "crew": "Crew 7", "depot": "Harbour depot"}
    return Line(
        item_no, "blanket", "2", verdict, "ok", reasons, days_over=days_over, usable=True, **known, **columns
    )


def report(*lines, due_soon=()):
    heading = Heading(MONDAY, NOW, NOW, "America/New_York", "us_federal 1")
    counts = Counts(0, 0, 0, 0, 0, None)
    return OverdueReport(heading, {"items_in_book": len(lines)}, lines, (), due_soon, 0, 0, counts, ())


def spell(days, told_days=None):
    since = NOW - timedelta(days=days)
    return Spell(since, since.date(), NOW - timedelta(days=days if told_days is None else told_days))


def promise(days_ago, promised_on=MONDAY, owner="Bertrand"):
    return Promised(owner, promised_on, "", "Ines", NOW - timedelta(days=days_ago))


def test_what_is_open_since_last_week_stands_before_what_is_worse():
    lines = [line("B-new", code="DAMAGED"), line("B-old"), line("B-older", days_over=30)]
    told = loop.opened(
        report(*lines),
        {"B-new": spell(2), "B-old": spell(7), "B-older": spell(40)},
        a_week_ago=A_WEEK_AGO,
    )
    assert [(one.item_no, one.carried) for one in told.usable_now] == [
        ("B-older", True),
        ("B-old", True),
        ("B-new", False),
    ]
    assert told.usable_now[2].open_since == date(2026, 9, 12)


def test_of_a_record_that_cannot_tell_nothing_milder_is_taken():
    told = loop.opened(report(line("B-1", code="CHAIN_BROKEN")), {"B-1": None}, a_week_ago=A_WEEK_AGO)
    assert (told.usable_now[0].carried, told.usable_now[0].open_since) == (True, None)
    assert not loop.tellable(told.usable_now[0])


def test_within_a_crew_every_carried_line_stands_before_any_new_one():
    """One holder may have both: then he stands twice, because what is open longer is what the call is about."""
    lines = [
        replace(line("B-1", holder="Dev"), carried=True),
        replace(line("B-2", holder="Marisol"), carried=True),
        line("B-3", holder="Dev"),
    ]
    (crew,) = by_crew(lines)
    assert [one.item_no for holder in crew.holders for one in holder.lines] == ["B-1", "B-2", "B-3"]


def test_the_newest_promise_of_the_present_spell_counts():
    given = [promise(20, owner="Dev"), promise(6, owner="Orla"), promise(3)]
    assert loop.promise_in_force(given, spell(10)).owner == "Bertrand"
    assert loop.promise_in_force(given[:2], spell(10)).owner == "Orla"


def test_a_promise_of_another_spell_counts_for_nothing():
    assert loop.promise_in_force([promise(20)], spell(10)) is None
    assert loop.promise_in_force([], spell(10)) is None


def test_a_promise_counts_from_when_its_line_could_first_be_told():
    """A test that failed today counts from the evening, and the promise about it was made in the morning."""
    assert loop.promise_in_force([promise(0)], spell(-0.5, told_days=0.01)) is not None
    assert loop.promise_in_force([promise(0.1)], spell(-0.5, told_days=0.01)) is None


def test_where_the_record_cannot_tell_since_when_the_newest_promise_is_shown():
    assert loop.promise_in_force([promise(300)], None) is not None


@pytest.mark.parametrize(("days", "broken"), [(-1, True), (0, False), (1, False)])
def test_a_promise_is_broken_once_its_day_is_past(days, broken):
    assert promise(3, MONDAY + timedelta(days=days)).broken(MONDAY) is broken


def test_a_spare_stands_ready_for_one_line_only_and_for_both_pieces_of_a_pair():
    lines = [line("G-1", set_no="P-1"), line("G-2", set_no="P-1"), line("G-3"), line("G-4")]
    offers = {number: [("P-9", "Shelf B"), ("P-8", "Shelf C")] for number in ("G-1", "G-2", "G-3", "G-4")}
    told = loop.with_spares(report(*lines, due_soon=(line("G-5"),)), offers | {"G-5": [("P-8", "Shelf C")]})
    assert [one.spare for one in told.usable_now] == ["P-9, Shelf B", "P-9, Shelf B", "P-8, Shelf C", ""]
    assert told.due_soon[0].spare == ""
    assert loop.with_spares(report(line("G-6")), {}).usable_now[0].spare is None  # nobody looked


def test_the_four_counts_stand_beside_those_of_a_week_before():
    lines = [
        line("B-1", carried=True),
        line("B-2"),
        line("B-3", code="HELD", days_over=None, carried=True),
        line("B-4", verdict="unknown", days_over=5),
    ]
    told = loop.looped(
        report(*lines),
        Before(frozenset({"B-1", "B-8", "B-9"}), frozenset({"B-3"})),
        missing=({"B-5", "B-6"}, {"B-6"}),
        old_pairs=(set(), {"P-1"}),
    ).loop
    assert told.overdue == Compared(2, 3, 1)
    assert told.blocked == Compared(2, 1, 1)  # held, and one of which nothing can be said
    assert told.missing == Compared(2, 1, 1)
    assert told.old_pairs == Compared(0, 1, 0)
