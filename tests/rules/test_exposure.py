"""Exposure-days by hand: a day on a truck counts 1, sixty days 60, a shelf 0, and writing gear off saves nothing."""

from datetime import UTC, date, datetime, time, timedelta
from uuid import uuid4

import pytest

from gear.rules import packs
from gear.rules.entries import Line
from gear.rules.moments import end_of_day
from gear.rules.policy import SitePolicy
from gear.rules.readiness import Rules
from reports.rules.exposure import Exposure, exposure, per_thousand, states

RULES = Rules(packs.load("us_federal", "1"), SitePolicy())
FIRST, LAST = date(2026, 1, 1), date(2026, 12, 31)
TRUCK = {"kind": "truck", "name": "T-12", "crew": "Crew 7", "depot": "Harbour depot"}
SHELF = {"kind": "shelf", "name": "Shelf B", "crew": None, "depot": "Harbour depot"}
IDENTITY = {"kind": "blanket", "class": "2"}
OUT = date(2026, 6, 1)  # tested on 1 June 2025: 31 May 2026 is the last good day of a blanket


def line(kind, on, **facts):
    at = datetime.combine(on, time(12), tzinfo=UTC)
    return Line(uuid4(), kind, at, on, at, "", {"v": 1, **facts})


def blanket(*more, at=TRUCK, tested=date(2025, 6, 1)):
    """A blanket with its test, put somewhere on 2 June 2025, and what happened to it since."""
    judged_as = {"kind": "blanket", "class": "2"}
    test = {"outcome": "accepted", "purpose": "in_service", "pack": "us_federal 1", "judged_as": judged_as}
    return [
        line("received", date(2025, 1, 2), identity=IDENTITY, holder=SHELF),
        line("tested", tested, readings={}, **test),
        line("issued" if at["kind"] == "truck" else "moved", tested + timedelta(days=1), holder=at),
        *more,
    ]


def counted(lines, first=FIRST, last=LAST):
    from zoneinfo import ZoneInfo

    zone = ZoneInfo("America/New_York")
    found = states("B-1", lines, first=first, last=last, end_of=lambda day: end_of_day(day, zone))
    return exposure(found, lambda _day: RULES)


def moved(day, to=SHELF):
    return line("moved", day, holder=to)


def test_four_blankets_by_hand():
    """In service January through May are 151 days each; what is past its date counts until it is off the truck."""
    one_day = counted(blanket(moved(OUT + timedelta(days=1))))
    sixty = counted(blanket(moved(OUT + timedelta(days=60))))
    on_a_shelf = counted(blanket(at=SHELF))
    lost = counted(blanket(line("lost", date(2026, 12, 1), reason="not on the truck")))
    assert one_day == Exposure(152, 1, 0, 0)
    assert sixty == Exposure(211, 60, 0, 0)
    assert on_a_shelf == Exposure(0, 0, 0, 0)
    assert lost == Exposure(
        365, 214, 0, 31
    )  # 1 June through 31 December; lost from 1 December on, and it counts on
    together = one_day + sixty + on_a_shelf + lost
    assert together == Exposure(728, 275, 0, 31)
    assert per_thousand(together.overdue, together.in_service) == pytest.approx(377.747, abs=0.001)


def test_taken_off_on_the_first_day_out_counts_nothing():
    assert counted(blanket(moved(OUT))).overdue == 0


def test_tested_again_ends_it_on_that_day():
    again = blanket()[1].facts
    assert counted(blanket(line("tested", OUT + timedelta(days=3), **again))).overdue == 3


def test_what_is_in_date_and_not_good_counts_beside_and_never_twice():
    held = counted(blanket(line("held", date(2026, 5, 22), reason="odd smell")))
    assert held == Exposure(365, 214, 10, 0)


def test_found_and_put_on_a_shelf_ends_it():
    back = line("found", date(2026, 12, 11), holder=SHELF)
    assert counted(blanket(line("lost", date(2026, 12, 1), reason="x"), back)) == Exposure(344, 193, 0, 10)


def test_destroyed_ends_it():
    ended = line("destroyed", date(2026, 3, 1), reason="cut up", witness="ines")
    rejected = line("rejected", date(2026, 2, 1), reason="cut")
    assert counted(blanket(rejected, ended)) == Exposure(59, 0, 28, 0)


def test_a_record_that_cannot_be_read_is_not_good():
    broken = line("held", date(2026, 12, 31))  # says no reason
    assert counted(blanket(broken), first=date(2026, 12, 31)) == Exposure(1, 1, 0, 0)
    young = blanket(broken, tested=date(2026, 6, 1))
    assert counted(young, first=date(2026, 12, 31)) == Exposure(1, 0, 1, 0)


def test_a_late_correction_of_the_test_moves_the_days():
    lines = blanket(moved(OUT + timedelta(days=60)))
    test = lines[1]
    day = date(2025, 7, 1)
    new = {
        "kind": "tested",
        "facts": dict(test.facts),
        "occurred_on": day.isoformat(),
        "occurred_at": datetime.combine(day, time(12), tzinfo=UTC).isoformat(),
    }
    at = datetime(2027, 1, 5, tzinfo=UTC)
    said = Line(
        uuid4(), "corrected", at, at.date(), at, "", {"v": 1, "reason": "typed", "replacement": new}, test.id
    )
    assert counted([*lines, said]).overdue == 30


def test_part_of_a_year_is_counted_as_that_part():
    assert counted(blanket(), first=date(2026, 5, 31), last=date(2026, 6, 2)) == Exposure(3, 2, 0, 0)
    assert counted(blanket(), first=date(2027, 1, 1), last=date(2027, 1, 1)).overdue == 1


def test_of_nothing_in_service_no_rate_is_made():
    assert per_thousand(0, 0) is None
