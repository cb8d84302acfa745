"""The overdue report as CSV and as a workbook: every line of it, in the order of the report.

CSV is RFC 4180 in plain UTF-8 without a byte order mark. A cell of text that a spreadsheet would take for a formula
begins with an apostrophe; figures stand in columns of figures only. The workbook types its cells instead.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import IO, Any

from django.utils.translation import gettext as _
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.utils import get_column_letter
from openpyxl.worksheet._write_only import WriteOnlyWorksheet

from gear import wording
from gear.spreadsheets import Cell, inert_lines
from reports.rules.overdue import Line, OverdueReport
from reports.wording import sentences

# name: width in the workbook, in characters
COLUMNS = {
    "list": 13,
    "item_no": 14,
    "kind": 18,
    "class": 7,
    "verdict": 9,
    "holder": 22,
    "holder_kind": 12,
    "crew": 16,
    "depot": 18,
    "set_no": 12,
    "condition": 15,
    "good_through": 13,
    "days_over": 10,
    "days_left": 10,
    "winning_clock": 16,
    "open_since": 13,
    "still_open": 10,
    "owner": 20,
    "promised_on": 13,
    "replacement": 24,
    "reason_codes": 24,
    "reasons": 60,
    "sources": 40,
    "as_of": 13,
    "rule_pack": 16,
}
LISTS = ("usable_now", "due_soon", "off_the_road")
LONGEST_CELL = 32_767  # characters, what a workbook can hold
# What XML 1.0 cannot carry.
_NOT_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


def rows(report: OverdueReport) -> Iterator[tuple[Cell, ...]]:
    """The cells of every line under COLUMNS; whole numbers and dates keep their type, None is an empty cell."""
    for one, prefix in ((report, ""), (report.visitors, "visitors_")):
        for name in LISTS if one else ():
            for line in getattr(one, name):
                yield (f"{prefix}{name}", *_cells(line), report.heading.as_of, report.heading.rule_pack)


def csv_lines(report: OverdueReport) -> Iterator[str]:
    """The report line by line with its header row, ready to be streamed."""
    yield from inert_lines(COLUMNS, rows(report))


def write_workbook(report: OverdueReport, target: IO[bytes]) -> None:
    """Write the report as XLSX: one sheet of lines, one that says how they were counted."""
    book = Workbook(write_only=True)
    sheet = book.create_sheet(_("Lines"))
    for number, width in enumerate(COLUMNS.values(), start=1):
        sheet.column_dimensions[get_column_letter(number)].width = width
    sheet.freeze_panes = "C2"
    _append(sheet, COLUMNS)
    for cells in rows(report):
        _append(sheet, cells)
    counted = book.create_sheet(_("How this was counted"))
    counted.column_dimensions["A"].width, counted.column_dimensions["B"].width = 40, 90
    for cells in _summary(report):
        _append(counted, cells)
    book.save(target)


def _cells(line: Line) -> tuple[Cell, ...]:
    return (
        line.item_no,
        line.kind,
        line.cls,
        line.verdict,
        line.holder,
        line.holder_kind,
        line.crew,
        line.depot,
        line.set_no,
        line.condition,
        line.good_through,
        line.days_over,
        line.days_left,
        line.winning_clock,
        line.open_since,
        _yes(line),
        line.promised.owner if line.promised else None,
        line.promised.promised_on if line.promised else None,
        line.spare or None,
        " ".join(one.code for one in line.reasons),
        " ".join(wording.sentence(one) for one in line.reasons),
        "; ".join(dict.fromkeys(one.source for one in line.reasons)),
    )


def _yes(line: Line) -> str | None:
    """Whether a line of page one was open a week before; empty for every other line."""
    if line.open_since is None and not line.carried:
        return None
    return "yes" if line.carried else "no"


def _summary(report: OverdueReport) -> Iterator[tuple[Cell, ...]]:
    heading = report.heading
    yield (str(sentences.TITLE), "DEMO" if heading.demo else None)
    yield (_("As of"), sentences.as_of(heading))
    yield (_("Made"), sentences.made(heading))
    yield (_("Zone"), heading.zone)
    yield (_("Rule pack"), sentences.rule_pack(heading))
    yield (_("Last seal"), sentences.seal(heading.seal))
    yield (_("Whose gear"), sentences.scope(heading.scope))
    yield (None, sentences.headline(report))
    yield (None, None)
    yield from sentences.totals(report)
    yield (_("Items in the book"), report.totals["items_in_book"])
    yield (None, None)
    yield from ((None, sentence) for sentence in (*sentences.method(report), str(sentences.NO_PERMIT)))


def _append(sheet: WriteOnlyWorksheet, cells: Iterable[Cell]) -> None:
    sheet.append([_typed(sheet, cell) for cell in cells])


def _typed(sheet: WriteOnlyWorksheet, value: Cell) -> Any:
    if not isinstance(value, str):
        return value
    text = _NOT_XML.sub("\ufffd", value)
    cell = WriteOnlyCell(sheet, text[:LONGEST_CELL])
    cell.data_type = "s"  # text, also where it begins like a formula or an error
    return cell
