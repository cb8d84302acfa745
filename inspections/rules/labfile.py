"""A lab's own file read through a mapping: its columns, units, dates and words into rows of our test book."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from gear.rules.tables import Problem, Row, Table
from inspections.rules import testbook, units
from inspections.rules.bounds import LAB_RESULTS, LOOKS, PURPOSES, SUPPLIES

IGNORED = ""
CHECKS = ("class", "serial", "length", "cable_length")  # compared with the book, never taken over
TARGETS = (*testbook.COLUMNS, *CHECKS)
WORDS: Mapping[str, tuple[str, ...]] = {
    "purpose": PURPOSES, "supply": SUPPLIES, "visual": LOOKS, "breakdown": ("yes", "no"), "flashover": ("yes", "no"),
    "lab_result": LAB_RESULTS, "class": ("00", "0", "1", "2", "3", "4", "5", "6"),
}  # fmt: skip
# What may stand for a whole file. Never a reading, and never the look: somebody must have looked at each piece.
CONSTANTS = ("purpose", "supply", "lab", "instrument", "report_no")
DECIMALS = ("point", "comma")
SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t"}
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_DATES: Mapping[str, re.Pattern[str]] = {
    "YYYY-MM-DD": re.compile(r"(?P<y>[0-9]{4})-(?P<m>[0-9]{2})-(?P<d>[0-9]{2})"),
    "MM/DD/YYYY": re.compile(r"(?P<m>[0-9]{1,2})/(?P<d>[0-9]{1,2})/(?P<y>[0-9]{4})"),
    "DD/MM/YYYY": re.compile(r"(?P<d>[0-9]{1,2})/(?P<m>[0-9]{1,2})/(?P<y>[0-9]{4})"),
    "DD.MM.YYYY": re.compile(r"(?P<d>[0-9]{1,2})\.(?P<m>[0-9]{1,2})\.(?P<y>[0-9]{4})"),
    "DD-MMM-YYYY": re.compile(r"(?P<d>[0-9]{1,2})[- ](?P<b>[A-Za-z]{3})[- ](?P<y>[0-9]{4})"),
}
DATE_FORMATS = tuple(_DATES)
_NUMBER = {
    "point": re.compile(r"-?[0-9]{1,9}(\.[0-9]{1,9})?"),
    "comma": re.compile(r"-?[0-9]{1,9}(,[0-9]{1,9})?"),
}
# A cell of a workbook that holds a true number reads with a point whatever the lab writes by hand; three decimals may
# as well be thousands.
_OF_A_WORKBOOK = re.compile(r"-?[0-9]{1,9}\.([0-9]{1,2}|[0-9]{4,9})")


class BadCell(ValueError):
    """A cell that does not say what its column should. `code` is a key of inspections.wording.LINE_SENTENCES."""

    def __init__(self, code: str, **values: Any) -> None:
        self.code, self.values = code, values
        super().__init__(code)


@dataclass(frozen=True)
class Column:
    """What a column of the lab's file is for us: one of TARGETS or IGNORED, its unit, and the lab's words for ours."""

    to: str
    unit: str = ""
    words: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class LabColumns:
    """One version of a mapping. `columns` by the name that stands in the header of the lab's file."""

    columns: Mapping[str, Column]
    date_format: str
    decimal: str = "point"
    separator: str = "comma"
    constants: Mapping[str, str] = field(default_factory=dict)

    def named(self, target: str) -> str:
        """The lab's name of a column of ours; ours where the file has none."""
        return next((name for name, one in self.columns.items() if one.to == target), target)


def to_json(mapping: LabColumns) -> dict[str, Any]:
    """The mapping as it is kept."""
    columns = {
        name: {"to": one.to, "unit": one.unit, "words": dict(one.words)}
        for name, one in mapping.columns.items()
    }
    return {
        "columns": columns,
        "date_format": mapping.date_format,
        "decimal": mapping.decimal,
        "separator": mapping.separator,
        "constants": dict(mapping.constants),
    }


def from_json(stored: Mapping[str, Any]) -> LabColumns:
    """The mapping back. Raises KeyError or TypeError on anything else."""
    columns = {name: Column(one["to"], one["unit"], one["words"]) for name, one in stored["columns"].items()}
    return LabColumns(
        columns, stored["date_format"], stored["decimal"], stored["separator"], stored["constants"]
    )


def faults(mapping: LabColumns) -> list[Problem]:
    """What keeps a mapping from being used, as problems without a line; empty when it is whole."""
    found = [one for name, column in mapping.columns.items() for one in _column_faults(name, column)]
    given = [column.to for column in mapping.columns.values() if column.to != IGNORED]
    for target in sorted({one for one in given if given.count(one) > 1}):
        found.append(Problem(0, "MAPPED_TWICE", {"field": target}))
    for name in testbook.REQUIRED:
        if name not in given and not mapping.constants.get(name):
            found.append(Problem(0, "NOT_MAPPED", {"field": name}))
    for name, value in mapping.constants.items():
        if name not in CONSTANTS or (name in WORDS and value and value not in WORDS[name]):
            found.append(Problem(0, "NO_CONSTANT", {"field": name, "shown": value}))
        elif value and name in given:
            found.append(Problem(0, "MAPPED_TWICE", {"field": name}))
    if mapping.date_format not in DATE_FORMATS:
        found.append(Problem(0, "NO_DATE_FORMAT", {"field": "tested_on"}))
    return found


def _column_faults(name: str, column: Column) -> list[Problem]:
    if column.to not in (IGNORED, *TARGETS):
        return [Problem(0, "NO_SUCH_TARGET", {"field": name, "shown": column.to})]
    found = []
    if column.to in units.FACTORS and column.unit not in units.FACTORS[column.to]:
        allowed = ", ".join(units.FACTORS[column.to])
        found.append(Problem(0, "NO_UNIT", {"field": name, "allowed": allowed}))
    for theirs, ours in column.words.items():
        if ours not in WORDS.get(column.to, ()):
            allowed = ", ".join(WORDS.get(column.to, ()))
            found.append(
                Problem(0, "NO_SUCH_WORD", {"field": name, "shown": f"{theirs} = {ours}", "allowed": allowed})
            )
    return found


@dataclass(frozen=True)
class Translated:
    """A lab's file in our words: rows of the test book, and by line what is only compared with the book."""

    table: Table
    compared: Mapping[int, Mapping[str, str]]


def translate(table: Table, mapping: LabColumns, *, workbook: bool) -> Translated:
    """Every row through the mapping. A cell that is unclear refuses its row; nothing is guessed.

    Readings come in our units, rounded so that they prove less and never more (units.in_ours).
    """
    rows, problems, compared = [], list(table.problems), {}
    for raw in table.rows:
        cells, found = _row(raw, mapping, workbook)
        problems += found
        if found:
            continue
        compared[raw.line] = {name: cells.pop(name) for name in CHECKS if name in cells}
        rows.append(Row(raw.line, cells))
    return Translated(Table(tuple(rows), tuple(problems)), compared)


def _row(raw: Row, mapping: LabColumns, workbook: bool) -> tuple[dict[str, str], list[Problem]]:
    cells = {name: value for name, value in mapping.constants.items() if value}
    problems = []
    for name, given in raw.cells.items():
        column = mapping.columns[name]
        if column.to == IGNORED:
            continue
        try:
            cells[column.to] = _cell(given, column, mapping, workbook)
        except BadCell as error:
            problems.append(
                Problem(raw.line, error.code, {"field": name, "shown": given[:60], **error.values})
            )
    return cells, problems


def _cell(given: str, column: Column, mapping: LabColumns, workbook: bool) -> str:
    readers: Mapping[str, Callable[[], str]] = {
        "tested_on": lambda: day(given, mapping.date_format, workbook=workbook).isoformat(),
        **dict.fromkeys(units.FACTORS, lambda: _reading(given, column, mapping.decimal, workbook)),
        **dict.fromkeys(WORDS, lambda: _word(given, column)),
    }
    return readers[column.to]() if column.to in readers else given.strip()


def _reading(given: str, column: Column, decimal: str, workbook: bool) -> str:
    value = units.in_ours(column.to, number(given, decimal, workbook=workbook), column.unit)
    return f"{value:f}"


def number(given: str, decimal: str, *, workbook: bool) -> Decimal:
    """A number written as the mapping says. Raises BadCell for thousands, exponents and whatever is unclear."""
    shown = given.strip()
    if _NUMBER[decimal].fullmatch(shown):
        return Decimal(shown.replace(",", "."))
    if workbook and _OF_A_WORKBOOK.fullmatch(shown):
        return Decimal(shown)
    raise BadCell("NOT_THIS_NUMBER", decimal=decimal)


def day(given: str, date_format: str, *, workbook: bool) -> date:
    """A calendar date in one of DATE_FORMATS; a true date of a workbook reads as ISO whatever was typed."""
    shown = given.strip()
    found = _DATES[date_format].fullmatch(shown)
    if found is None and workbook:
        found = _DATES["YYYY-MM-DD"].fullmatch(shown)
    if found is None:
        raise BadCell("NOT_THIS_DATE", date_format=date_format)
    parts = found.groupdict()
    try:
        month = _MONTHS.index(parts["b"].lower()) + 1 if "b" in parts else int(parts["m"])
        return date(int(parts["y"]), month, int(parts["d"]))
    except ValueError:
        raise BadCell("NOT_THIS_DATE", date_format=date_format) from None


def _word(given: str, column: Column) -> str:
    """Our word for the lab's, which is known by the mapping in any case; ours as it stands."""
    known = {theirs.casefold(): ours for theirs, ours in column.words.items()}
    shown = " ".join(given.split())
    if ours := known.get(shown.casefold()):
        return ours
    if shown in WORDS[column.to]:
        return shown
    raise BadCell("NO_WORD", allowed=", ".join(column.words) or ", ".join(WORDS[column.to]))
