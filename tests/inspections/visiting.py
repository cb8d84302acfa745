"""A crew of visitors for tests: Harrow Bay, whose forty gloves come with one report of their lab."""

from __future__ import annotations

from datetime import date, timedelta

from gear.actions.acting import Act
from inspections.actions import checking_in, visits
from inspections.models import VisitRow
from tests import builders

REPORT, LAB = "HB-2291", "Harrow Bay test house"


def shared(**changes: str) -> dict[str, str]:
    """What the report says of every pair: class 2 gloves, proof-tested at 20 kV two months ago."""
    tested_on = (builders.today() - timedelta(days=60)).isoformat()
    usual = {"kind": "glove", "class": "2", "length_mm": "360", "maker": "Otter Rock", "tested_on": tested_on,
             "supply": "ac", "applied_v": "20000", "seconds": "60", "lab": LAB, "report_no": REPORT,
             "lab_result": "accept"}  # fmt: skip
    return {**usual, **changes}


def row(at: int = 1, **changes: str) -> dict[str, str]:
    """One person's pair: `Visitor 1` with gloves HB-001-L and HB-001-R."""
    usual = {"person": f"Visitor {at}", "size": "10", "number": f"HB-{at:03d}-L", "number_right": f"HB-{at:03d}-R",
             "leakage_ma": "12.4", "leakage_ma_right": "12.9"}  # fmt: skip
    return {**usual, **changes}


def sheet(count: int) -> str:
    """The same rows as copied from a spreadsheet."""
    names = ("person", "size", "number", "number_right", "leakage_ma", "leakage_ma_right")
    return "\n".join("\t".join(row(at)[name] for name in names) for at in range(1, count + 1))


def visit(by, *, until: date | None = None, papers=(REPORT,), organisation="Harrow Bay", **changes):
    """A visit with what holds for all its rows, and the report seen."""
    end = until or builders.today() + timedelta(days=12)
    made = visits.start(organisation=organisation, expected_until=end, coming_from="Bay County", act=Act(by))
    return visits.state_for_all(made.number, shared=shared(**changes), papers=papers, act=Act(by))


def keyed(one, *rows, by):
    return visits.keep_rows(one.number, rows or [row()], act=Act(by))


def looked_at(one, look="accept", *, by):
    """Every row that nobody looked at yet, as this inspector found it."""
    keys = VisitRow.objects.filter(visit=one, look="").values_list("pk", flat=True)
    visits.looked(one.number, dict.fromkeys(keys, look), act=Act(by))


def checked_in(by, *rows, **about):
    """A visit whose rows were keyed, looked at by the same clerk and checked in."""
    one = visit(by, **about)
    keyed(one, *rows, by=by)
    looked_at(one, by=by)
    return checking_in.check_in(one.number, act=Act(by))
