"""The test book as a file: rows of readings from a bench or a lab."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Any

from gear.rules import values
from gear.rules.hashing import canonical
from gear.rules.tables import Problem, Row, Table, parsed
from gear.rules.values import BadValue
from inspections.rules.acceptance import Reading
from inspections.rules.bounds import BOUNDS, LAB_RESULTS, LOOKS, PURPOSES, SUPPLIES
from inspections.rules.testfacts import Paper, plain

COLUMNS = (
    "item_no", "tested_on", "purpose", "supply", "applied_v", "seconds", "leakage_ma", "resistance_mohm",
    "cable_temp_c", "visual", "breakdown", "flashover", "lab_result", "lab", "instrument", "report_no",
)  # fmt: skip
REQUIRED = ("item_no", "tested_on", "purpose", "visual")
LEAST_VOLTS = 500  # below any proof voltage; 20 is surely kV (common practice, no source)
EQUAL_READINGS = 10  # in a row: a meter that is stuck (common practice, no source)
# (field, least, most, unit, the unit that a reading beyond them is probably in): possible, so kept, but remarked.
# Common practice, no source: gloves draw some 5 to 24 mA on AC, jumpers read some 0.3 to 10 milliohm indoors.
UNUSUAL: tuple[tuple[str, Decimal, Decimal, str, str], ...] = (
    ("leakage_ma", Decimal("0.1"), Decimal(100), "mA", "A or uA"),
    ("resistance_mohm", Decimal("0.05"), Decimal(50), "milliohm", "ohm or microohm"),
    ("cable_temp_c", Decimal(-30), Decimal(50), "C", "F"),
)


@dataclass(frozen=True, slots=True)
class TestRow:
    """One test as a file states it: V, s, mA, milliohm, degrees C; None means not stated."""

    __test__ = False  # not a test class
    line: int
    item_no: str
    tested_on: date
    purpose: str
    visual: str
    supply: str | None = None
    applied_v: int | None = None
    seconds: int | None = None
    leakage_ma: Decimal | None = None
    resistance_mohm: Decimal | None = None
    cable_temp_c: Decimal | None = None
    breakdown: bool | None = None
    flashover: bool | None = None
    lab_result: str | None = None
    lab: str | None = None
    instrument: str | None = None
    report_no: str | None = None

    def reading(self, *, instrument_expired: bool = False) -> Reading:
        """The row for judging."""
        stated = {one.name for one in fields(self)}
        names = [one.name for one in fields(Reading) if one.name in stated]
        return Reading(**{name: getattr(self, name) for name in names}, instrument_expired=instrument_expired)

    @property
    def paper(self) -> Paper:
        """What came with the readings."""
        return Paper(self.lab_result or "", self.lab or "", self.instrument or "", self.report_no or "")

    @property
    def fingerprint(self) -> str:
        """SHA-256 over all that the row states, the line apart."""
        stated = {one.name: _text(getattr(self, one.name)) for one in fields(self) if one.name != "line"}
        return hashlib.sha256(canonical(stated)).hexdigest()

    @property
    def identity(self) -> tuple[str, ...]:
        """item, day and report number; all fields where there is no report number."""
        if self.report_no:
            return (self.item_no, self.tested_on.isoformat(), self.report_no)
        return (self.item_no, self.tested_on.isoformat(), "", self.fingerprint)


@dataclass(frozen=True)
class TestBook:
    """What a file holds: rows to log, lines that repeat an earlier one, problems and notes."""

    __test__ = False  # not a test class
    rows: tuple[TestRow, ...]
    repeats: tuple[TestRow, ...]
    problems: tuple[Problem, ...]
    notes: tuple[Problem, ...] = ()


def parse(table: Table, *, today: date) -> TestBook:
    """Check every row that can be checked without the database.

    What proves nothing (0 mA, too few volts) is kept and judged void later; what cannot be is refused.
    """
    kept: dict[tuple[str, ...], TestRow] = {}
    repeats: list[TestRow] = []
    problems = list(table.problems)
    for raw in table.rows:
        row, found = parse_row(raw, today=today)
        problems += found
        if row is None:
            continue
        first = kept.setdefault(row.identity, row)
        if first is row:
            continue
        if first.fingerprint == row.fingerprint:
            repeats.append(row)
        else:
            shown = {"field": "report_no", "shown": row.report_no or "", "other": first.line}
            problems.append(Problem(row.line, "REPEATED", shown))
    notes = [note for row in kept.values() for note in _notes(row)]
    notes += _stuck_meter(list(kept.values()))
    ordered = sorted(problems, key=lambda one: one.line)
    return TestBook(tuple(kept.values()), tuple(repeats), tuple(ordered), tuple(notes))


def parse_row(raw: Row, *, today: date) -> tuple[TestRow | None, list[Problem]]:
    """One row of cells to a TestRow, or None with the problems that refuse it."""
    found, problems = parsed(raw, _readers(today))
    problems += [Problem(raw.line, "MISSING", {"field": name}) for name in REQUIRED if name not in raw.cells]
    if problems:
        return None, problems
    return TestRow(line=raw.line, **found), []


def _readers(today: date) -> Mapping[str, Any]:
    def word(*allowed: str) -> Any:
        return partial(values.one_of, allowed=allowed)

    paper = partial(values.text, most=80)
    return {
        "item_no": values.item_number, "tested_on": partial(values.day, not_after=today), "purpose": word(*PURPOSES),
        "supply": word(*SUPPLIES), "applied_v": bounded, "seconds": bounded, "leakage_ma": bounded,
        "resistance_mohm": bounded, "cable_temp_c": bounded, "visual": word(*LOOKS), "breakdown": values.yes_no,
        "flashover": values.yes_no, "lab_result": word(*LAB_RESULTS), "lab": paper, "instrument": paper,
        "report_no": partial(values.identifier, most=80),
    }  # fmt: skip


def bounded(name: str, given: str) -> int | Decimal:
    """A reading as typed, within bounds.BOUNDS. Raises BadValue; never NaN, never another unit by accident."""
    number = values.whole(name, given) if name in ("applied_v", "seconds") else values.decimal(
        name, given, negative=name == "cable_temp_c")  # fmt: skip
    least, most = BOUNDS[name]
    if not least <= number <= most:
        raise BadValue("OUT_OF_RANGE", name, given, least=str(least), most=str(most))
    return number


def _notes(row: TestRow) -> Iterator[Problem]:
    """A voltage that is surely kV is kept, because it proves nothing; the line says so."""
    if row.applied_v is not None and 0 < row.applied_v < LEAST_VOLTS:
        yield Problem(row.line, "UNIT", {"field": "applied_v", "shown": row.applied_v, "unit": "V"})
    for name, least, most, unit, perhaps in UNUSUAL:
        reading = getattr(row, name)
        # Zero is a reading of its own; on DC a current of microamperes is as it should be.
        if not reading or (name == "leakage_ma" and row.supply == "dc"):
            continue
        if not least <= reading <= most:
            shown = {"field": name, "shown": str(reading), "unit": unit, "perhaps": perhaps}
            yield Problem(row.line, "UNIT_NOTE", shown)


def _stuck_meter(rows: list[TestRow]) -> Iterator[Problem]:
    """A note on the line where a run of equal currents becomes too long to be chance."""
    run = 0
    last: Decimal | None = None
    for row in rows:
        if row.leakage_ma is None:
            continue
        run = run + 1 if row.leakage_ma == last else 1
        last = row.leakage_ma
        if run == EQUAL_READINGS:
            yield Problem(row.line, "STUCK_METER", {"field": "leakage_ma", "shown": str(last), "count": run})


def _text(value: Any) -> str | None:
    return plain(value) if isinstance(value, Decimal) else None if value is None else str(value)
