"""Strict reading of CSV and XLSX files to rows of text. What is unclear refuses the file or the row, never a guess."""

from __future__ import annotations

import csv
import io
import re
import warnings
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal
from itertools import islice
from typing import Any

from gear.rules.values import BadValue

PAGE_BYTES, PAGE_ROWS, COMMAND_ROWS = 10 * 1024 * 1024, 50_000, 200_000
LONGEST_FIELD = 1000
_UNPACKED, _RATIO, _PARTS = 400 * 1024 * 1024, 200, 2000
WIDEST = 200  # cells of a row that are looked at; a book has some thirty columns
DIGITS_KEPT = 15  # by spreadsheets; a longer number was already rounded

# code: English sentence; the edge translates it.
REFUSALS: Mapping[str, str] = {
    "EMPTY": "The file is empty. It needs a header line and rows.",
    "TOO_LARGE": "The file has more than {most} bytes. Split it.",
    "TOO_MANY_ROWS": "The file has more than {most} rows. Split it.",
    "NOT_UTF8": "The file is not UTF-8 text: byte {offset} cannot be read. Save it as CSV UTF-8.",
    "NUL": "The file holds a NUL byte at {offset}. Save it as CSV UTF-8.",
    "DELIMITER": "The fields are separated by {found}. Save the file with commas.",
    "NEWLINE_IN_FIELD": "A quoted field that begins on line {line} runs over the end of its line. Close the quote.",
    "BAD_QUOTE": "The quotes on line {line} do not match. Check the line.",
    "FIELD_TOO_LONG": "A field on line {line} is longer than {most} characters.",
    "UNKNOWN_COLUMNS": "Unknown columns: {names}. Known are: {known}.",
    "REPEATED_COLUMNS": "Columns stand twice: {names}.",
    "MISSING_COLUMNS": "Required columns are missing: {names}.",
    "NOT_A_WORKBOOK": "The file is not a readable workbook. Save it again as XLSX or CSV.",
    "MACROS": "The workbook holds macros. Save it as XLSX without macros, or as CSV.",
    "OLD_WORKBOOK": "This is a workbook of the old kind (XLS). Save it as XLSX or as CSV UTF-8.",
    "ENCRYPTED": "The workbook is protected by a password. Save it without one.",
    "LINKED": "The workbook is linked to other files. Break the links and save it again.",
    "MORE_SHEETS": "The workbook has rows on more than one sheet, also on {sheet}. Save each sheet as its own file.",
    "TOO_WIDE": "Row {line} of the sheet has more than {most} cells. Delete what stands beside the columns.",
    "SWOLLEN": "The workbook unpacks to far more than its size. It was not opened.",
}
_DELIMITERS = {";": "semicolons", "\t": "tabs", "|": "bars"}


class FileRefused(ValueError):
    """The whole file is refused. `code` is a key of REFUSALS, `values` fill its sentence."""

    def __init__(self, code: str, **values: Any) -> None:
        self.code, self.values = code, values
        super().__init__(REFUSALS[code].format(**values))


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its line in the file (the header is line 1) and the text of every cell that is not blank."""

    line: int
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with one line, or worth a note: a key of values.MESSAGES with what fills its sentence."""

    line: int
    code: str
    values: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Table:
    """The readable rows of a file and the problems of the others."""

    rows: tuple[Row, ...]
    problems: tuple[Problem, ...] = ()


def read(
    name: str,
    data: bytes,
    *,
    columns: Sequence[str],
    required: Sequence[str],
    most_bytes: int = 200 * 1024 * 1024,
    most_rows: int = COMMAND_ROWS,
    delimiter: str = ",",
) -> Table:
    """The rows of a CSV or XLSX file (told apart by content). Raises FileRefused; never another error."""
    _check_size(data, most_bytes)
    if is_workbook(name, data):
        return _table(_workbook_lines(data, columns, most_rows), columns, required, most_rows, padded=True)
    return _table(_text_lines(data, columns, delimiter), columns, required, most_rows, padded=False)


def sample(
    name: str, data: bytes, *, most_bytes: int, delimiter: str = ",", rows: int = 5
) -> tuple[list[str], list[list[str]]]:
    """(the header as it stands, the first rows) of a file whose columns are not known yet. Raises FileRefused."""
    _check_size(data, most_bytes)
    of_workbook = is_workbook(name, data)
    lines = _workbook_lines(data, (), PAGE_ROWS) if of_workbook else _text_lines(data, (), delimiter)
    stated = (
        [str(cell).strip() for cell in cells] for _line, cells in lines if any(cell.strip() for cell in cells)
    )
    found = list(islice(stated, rows + 1))
    if not found:
        raise FileRefused("EMPTY")
    header, *first = found
    while header and not header[-1]:
        header.pop()
    if repeated := sorted({one for one in header if header.count(one) > 1}):
        raise FileRefused("REPEATED_COLUMNS", names=", ".join(repeated)[:200])
    return header, [(row + [""] * len(header))[: len(header)] for row in first]


def is_workbook(name: str, data: bytes) -> bool:
    """Whether a file is an XLSX workbook, by its content or by its name."""
    return data[:4] == b"PK\x03\x04" or name.lower().endswith((".xlsx", ".xlsm"))


def _check_size(data: bytes, most_bytes: int) -> None:
    if len(data) > most_bytes:
        raise FileRefused("TOO_LARGE", most=most_bytes)
    if not data.strip():
        raise FileRefused("EMPTY")
    if data[:4] == b"\xd0\xcf\x11\xe0":
        raise FileRefused("OLD_WORKBOOK")


def _table(
    lines: Iterator, columns: Sequence[str], required: Sequence[str], most_rows: int, *, padded: bool
) -> Table:
    """`padded` where a row may rightly end before the header does: a sheet does not store empty cells."""
    header: list[str] | None = None
    rows: list[Row] = []
    problems: list[Problem] = []
    texts: dict[str, str] = {}  # one object for all cells that say the same: most of a large book does
    for line, cells in lines:
        if not any(cell.strip() for cell in cells):
            continue
        if header is None:
            header = _header(cells, columns, required)
            continue
        while len(cells) > len(header) and cells[-1] == "":
            cells = cells[:-1]
        if padded:
            cells = cells + [""] * (len(header) - len(cells))
        if len(rows) + len(problems) >= most_rows:
            raise FileRefused("TOO_MANY_ROWS", most=most_rows)
        if bad := [one for one in cells if isinstance(one, BadCell)]:
            where = header[cells.index(bad[0])] if cells.index(bad[0]) < len(header) else ""
            problems.append(Problem(line, bad[0].code, {"field": where, "shown": bad[0].shown}))
        elif len(cells) != len(header):
            problems.append(Problem(line, "ROW_LENGTH", {"count": len(cells), "wanted": len(header)}))
        else:
            stated = {one: cell.strip() for one, cell in zip(header, cells, strict=True) if cell.strip()}
            rows.append(Row(line, {one: texts.setdefault(cell, cell) for one, cell in stated.items()}))
    if header is None:
        raise FileRefused("EMPTY")
    return Table(tuple(rows), tuple(problems))


def _header(cells: Sequence, columns: Sequence[str], required: Sequence[str]) -> list[str]:
    names = [str(cell).strip() for cell in cells]
    while names and not names[-1]:
        names.pop()
    if repeated := sorted({one for one in names if names.count(one) > 1}):
        raise FileRefused("REPEATED_COLUMNS", names=", ".join(repeated)[:200])
    if unknown := [one for one in names if one not in columns]:
        raise FileRefused("UNKNOWN_COLUMNS", names=", ".join(unknown)[:200], known=", ".join(columns))
    if missing := [one for one in required if one not in names]:
        raise FileRefused("MISSING_COLUMNS", names=", ".join(missing))
    return names


def _text_lines(data: bytes, columns: Sequence[str], delimiter: str) -> Iterator[tuple[int, list]]:
    text = _decoded(data)
    if delimiter == ",":
        _check_delimiter(text.lstrip().split("\n", 1)[0], columns)
    reader = csv.reader(io.StringIO(text, newline=""), strict=True, delimiter=delimiter)
    before = 0
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            code = "NEWLINE_IN_FIELD" if "unexpected end" in str(error) else "BAD_QUOTE"
            raise FileRefused(code, line=before + 1) from None
        if reader.line_num > before + 1 or any("\n" in cell or "\r" in cell for cell in cells):
            raise FileRefused("NEWLINE_IN_FIELD", line=before + 1)
        if any(len(cell) > LONGEST_FIELD for cell in cells):
            raise FileRefused("FIELD_TOO_LONG", line=reader.line_num, most=LONGEST_FIELD)
        before = reader.line_num
        yield before, cells


def _decoded(data: bytes) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise FileRefused("NOT_UTF8", offset=0)
    if (offset := data.find(b"\x00")) >= 0:
        raise FileRefused("NUL", offset=offset)
    try:
        # Decoded with its mark, so that the offset of a bad byte counts from the start of the file.
        return data.decode("utf-8").removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        raise FileRefused("NOT_UTF8", offset=error.start) from None


def _check_delimiter(header: str, columns: Sequence[str]) -> None:
    """A header that makes sense only with another separator says which one was used."""
    for symbol, words in _DELIMITERS.items():
        names = [name.strip().strip('"') for name in header.strip().split(symbol)]
        if len(names) > 1 and sum(name in columns for name in names) * 2 > len(names):
            raise FileRefused("DELIMITER", found=words)


class BadCell(str):
    """A workbook cell that is no plain value; it refuses its row."""

    code: str
    shown: str

    def __new__(cls, code: str, shown: str) -> BadCell:
        cell = super().__new__(cls, "?")
        cell.code, cell.shown = code, shown
        return cell


def _workbook_lines(data: bytes, columns: Sequence[str], most_rows: int) -> Iterator[tuple[int, list]]:
    """The rows of the first sheet, each with its number in the sheet. No other sheet may begin with these columns."""
    _check_package(data)
    from openpyxl import load_workbook

    # openpyxl raises whatever its XML and zip readers raise; all of it means "not readable".
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # parts that it leaves out: styles, validations, extensions
            sheet, *others = load_workbook(io.BytesIO(data), read_only=True, keep_links=False).worksheets
            _check_others(others, columns)
            # What a file states of the size of its sheet may be too small, and rows would be lost without a word.
            sheet.reset_dimensions()
            for line, cells in enumerate(sheet.iter_rows(), start=1):
                # One cell far down is preceded by blank rows without end; one far right, by blank cells.
                if line > 4 * (most_rows + 1):
                    raise FileRefused("TOO_MANY_ROWS", most=most_rows)
                if len(cells) > WIDEST:
                    raise FileRefused("TOO_WIDE", line=line, most=WIDEST)
                yield line, [_cell(cell) for cell in cells]
    except FileRefused:
        raise
    except Exception:
        raise FileRefused("NOT_A_WORKBOOK") from None


def _check_others(sheets: Sequence[Any], columns: Sequence[str]) -> None:
    """Refuse a workbook whose rows go on behind its first sheet: they would be lost without a word."""
    for sheet in sheets:
        sheet.reset_dimensions()
        header = next(sheet.iter_rows(max_row=1, values_only=True), ())
        if sum(str(name).strip() in columns for name in header) > 1:
            raise FileRefused("MORE_SHEETS", sheet=str(sheet.title)[:60])


def _check_package(data: bytes) -> None:
    """Refuse, before anything is unpacked, what is not a plain workbook of sensible size."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            parts = package.infolist()
    except Exception:  # zipfile raises a dozen kinds of error on damaged bytes
        raise FileRefused("NOT_A_WORKBOOK") from None
    names = [part.filename.lower() for part in parts]
    if any(part.flag_bits & 0x1 for part in parts):
        raise FileRefused("ENCRYPTED")
    unpacked = sum(part.file_size for part in parts)
    if len(parts) > _PARTS or unpacked > _UNPACKED or unpacked > max(len(data), 50_000) * _RATIO:
        raise FileRefused("SWOLLEN")
    if any("vbaproject" in name for name in names):
        raise FileRefused("MACROS")
    if any("externallinks/" in name for name in names):
        raise FileRefused("LINKED")


def _cell(cell: Any) -> str:
    value, sort = cell.value, getattr(cell, "data_type", "n")
    if value is None:
        return ""
    if sort == "f" or (isinstance(value, str) and re.match(r"=.", value)):
        return BadCell("FORMULA", str(value)[:60])
    if sort == "e" or isinstance(value, bool):
        return BadCell("BAD_CELL", str(value)[:60])
    if isinstance(value, date):
        return _day(value)
    if isinstance(value, int | float):
        return _number(value, cell.number_format)
    if not isinstance(value, str):
        return BadCell("BAD_CELL", str(value)[:60])
    if len(str(value)) > LONGEST_FIELD:
        return BadCell("BAD_CELL", str(value)[:60])
    return str(value)


def _day(value: date) -> str:
    """A true date, without a time, as ISO."""
    if not isinstance(value, datetime):
        return value.isoformat()
    return value.date().isoformat() if value.time() == time.min else BadCell("BAD_CELL", value.isoformat())


def _number(value: int | float, shown_as: str) -> str:
    """A number as it was typed: 16.1, not the binary fraction nearest to it; refused where the sheet shows another."""
    number = Decimal(f"{value:.{DIGITS_KEPT}g}")
    if not number.is_finite() or abs(number) >= 10**DIGITS_KEPT:
        return BadCell("NUMBER_ROUNDED", str(value)[:60])
    if "%" in shown_as or re.fullmatch("0{2,}", shown_as):
        return BadCell("NUMBER_SHOWN_OTHERWISE", str(value)[:60])
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def parsed(row: Row, readers: Mapping[str, Any]) -> tuple[dict[str, Any], list[Problem]]:
    """Every cell of a row through the reader of its column: (values, None where blank; problems)."""
    found: dict[str, Any] = dict.fromkeys(readers)
    problems = []
    for name, reader in readers.items():
        if name not in row.cells:
            continue
        try:
            found[name] = reader(name, row.cells[name])
        except BadValue as error:
            problems.append(Problem(row.line, error.code, error.values))
    return found, problems
