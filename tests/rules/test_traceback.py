"""Trace back: which days a failure concerns, who had the piece on them, and who was its mate."""

from datetime import UTC, date, datetime
from uuid import uuid4

import pytest

from gear.rules.entries import Line
from inspections.rules import traceback
from inspections.rules.traceback import Joined, Together, Use, Window

TODAY = date(2026, 9, 20)


def day(month, at=1):
    return date(2026, month, at)


def line(kind, on, **facts):
    moment = datetime(on.year, on.month, on.day, 12, tzinfo=UTC)
    return Line(uuid4(), kind, moment, on, moment, "", {"v": 1, **facts})


def test(outcome, on):
    return line("tested", on, outcome=outcome)


test.__test__ = False
REJECTED = line("rejected", day(6), reason="cut")
LOOKED = line("inspected", day(6), outcome="reject", scope="pre_use")


def span(*lines):
    found = traceback.window(traceback.effective(lines), as_of=TODAY)
    return found.since, found.through


@pytest.mark.parametrize(
    ("lines", "since", "through"),
    [
        ([test("accepted", day(1)), test("accepted", day(3)), test("failed", day(6))], day(3), day(6)),
        ([test("accepted", day(3)), test("void", day(5)), test("failed", day(6))], day(3), day(6)),
        ([test("accepted", day(3)), LOOKED, test("failed", day(7))], day(3), day(6)),
        ([test("accepted", day(3)), REJECTED], day(3), day(6)),
        ([test("failed", day(6))], None, day(6)),
        ([test("accepted", day(3))], day(3), TODAY),
        ([test("accepted", day(3)), test("failed", day(6)), test("accepted", day(8))], day(3), day(6)),
        ([], None, TODAY),
        ([test("accepted", day(3)), test("failed", day(3))], day(3), day(3)),
    ],
)
def test_the_window_runs_from_the_last_good_test_through_the_failure(lines, since, through):
    assert span(*lines) == (since, through)


def test_holders_share_the_day_of_a_change_and_a_use_on_it_counts_for_both():
    dev, shelf = {"kind": "person", "name": "Dev"}, {"kind": "shelf", "name": "B"}
    lines = [
        line("received", day(1), holder=shelf),
        line("issued", day(4), holder=dev),
        line("issued", day(5), holder=dev),
        line("returned", day(6), holder=shelf),
    ]
    uses = [Use("pre_use", day(6), "Dev"), Use("walk", day(5), "Dev"), Use("walk", day(7), "Dev")]
    found = traceback.stays(lines, Window(day(3), day(6)), uses)
    assert [(one.holder["name"], one.since, one.through, one.days, one.used_days) for one in found] == [
        ("B", day(1), day(4), 32, 0),
        ("Dev", day(4), day(6), 62, 2),
        ("B", day(6), None, 1, 1),
    ]


def test_whoever_had_it_before_or_after_the_window_is_not_named():
    lines = [
        line("received", day(1), holder={"kind": "shelf", "name": "B"}),
        line("issued", day(2), holder={"kind": "person", "name": "Dev"}),
        line("handed_back", day(4)),
        line("received", day(8), holder={"kind": "shelf", "name": "C"}),
    ]
    found = traceback.stays(lines, Window(day(3), day(6)))
    assert [one.holder["name"] for one in found] == ["Dev"]


@pytest.mark.parametrize(
    ("ours", "theirs", "both"),
    [
        ((day(1), None), (day(3), day(5)), (day(3), day(5))),
        ((day(1), day(4)), (day(4), None), (day(4), day(4))),
        ((day(1), day(3)), (day(4), None), None),
        ((day(1), None), (day(2), None), (day(2), None)),
    ],
)
def test_mates_are_those_of_one_set_at_the_same_time(ours, theirs, both):
    found = traceback.together([Joined("P-1", *ours)], [Joined("P-1", *theirs), Joined("P-2", *theirs)])
    assert found == (() if both is None else (Together("P-1", *both),))
