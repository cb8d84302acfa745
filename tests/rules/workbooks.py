"""Workbooks for tests, and the workbooks of fixtures/files: `python -m tests.rules.workbooks` writes those again."""

import io
import re
import zipfile
from collections.abc import Callable, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

from openpyxl import Workbook

FILES = Path(__file__).parents[2] / "fixtures" / "files"
HEADER = ("item_no", "kind", "holder", "holder_kind", "serial", "length_mm", "made_on")
ROW = ("G-01001", "glove", "Dev", "person", "D-4417", 360, date(2026, 1, 5))
SHEET = "xl/worksheets/sheet1.xml"


def workbook(*rows: Sequence[Any], formats: dict[str, str] | None = None) -> bytes:
    """A workbook of one sheet with the rows; `formats` sets number formats by cell."""
    book = Workbook()
    sheet = book.active
    for row in rows:
        sheet.append(row)
    for cell, shown_as in (formats or {}).items():
        sheet[cell].number_format = shown_as
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def one_row(**cells: Any) -> bytes:
    """A workbook with one row of gear, some of its cells replaced."""
    stated = {**dict(zip(HEADER, ROW, strict=True)), **cells}
    return workbook(tuple(stated), tuple(stated.values()))


def rewritten(
    data: bytes, change: Callable[[str, bytes], bytes], *, more: dict[str, bytes] | None = None
) -> bytes:
    """The workbook with every part passed through `change`, and with `more` parts."""
    file = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.infolist():
            new.writestr(part.filename, change(part.filename, old.read(part)))
        for name, content in (more or {}).items():
            new.writestr(name, content)
    return file.getvalue()


def with_part(name: str, content: bytes) -> bytes:
    return rewritten(one_row(), lambda _name, part: part, more={name: content})


def with_dimension(data: bytes, stated: str) -> bytes:
    """The workbook with another statement of how large its sheet is; "" for none."""
    element = f'<dimension ref="{stated}"/>'.encode() if stated else b""

    def change(name: str, part: bytes) -> bytes:
        return re.sub(rb"<dimension[^>]*/>", element, part) if name == SHEET else part

    return rewritten(data, change)


def moved_to_row(number: int) -> bytes:
    """A workbook whose one row of gear claims to be row `number`."""

    def change(name: str, part: bytes) -> bytes:
        if name != SHEET:
            return part
        part = part.replace(b'<row r="2"', b'<row r="%d"' % number)
        return re.sub(rb'r="([A-Z])2"', rb'r="\g<1>%d"' % number, part)

    return with_dimension(rewritten(one_row(), change), "")


def entity_bomb() -> bytes:
    """Entities of entities: a few hundred bytes that would become a thousand million."""
    levels = b"".join(b'<!ENTITY l%d "%s">' % (level, b"&l%d;" % (level - 1) * 10) for level in range(1, 10))
    prolog = b'<?xml version="1.0"?><!DOCTYPE bomb [<!ENTITY l0 "lol">' + levels + b"]>"

    def change(name: str, part: bytes) -> bytes:
        if name != SHEET:
            return part
        body = part.split(b"?>", 1)[1] if part.startswith(b"<?xml") else part
        return prolog + body.replace(b"<sheetData>", b"<sheetData><row><c t='str'><v>&l9;</v></c></row>")

    return rewritten(one_row(), change)


def written() -> dict[str, bytes]:
    """The workbooks of fixtures/files by name."""
    return {
        "good/gear_book.xlsx": workbook(
            HEADER,
            ROW,
            ("G-01002", "glove", "Dev", "person", "D-4418", 360, date(2026, 1, 5)),
            ("B-00417", "blanket", "T-12", "truck", None, 914, None),
        ),
        "broken/formula.xlsx": one_row(length_mm="=300+60"),
        "broken/true_or_false.xlsx": one_row(serial=True),
        "broken/error_cell.xlsx": one_row(serial="#REF!"),
        "broken/date_with_time.xlsx": one_row(made_on=datetime(2026, 1, 5, 10, 30)),  # noqa: DTZ001 - as in a cell
        "broken/long_number.xlsx": one_row(serial=12345678901234567),
        "broken/macros.xlsx": with_part("xl/vbaProject.bin", b"macro"),
        "broken/links.xlsx": with_part("xl/externalLinks/externalLink1.xml", b"<x/>"),
        "broken/zip_bomb.xlsx": with_part("xl/media/image1.bin", b"\0" * 12_000_000),
        "broken/entity_bomb.xlsx": entity_bomb(),
        "broken/far_down.xlsx": moved_to_row(900_000_000),
        "broken/too_wide.xlsx": workbook(HEADER, (*ROW, *[None] * 300, "x")),
    }


if __name__ == "__main__":
    for name, content in written().items():
        (FILES / name).write_bytes(content)
