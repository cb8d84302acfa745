"""Gear books and test books as files, written the way a tool room would: one dict a row, columns left out are blank."""

import csv
from pathlib import Path

from openpyxl import Workbook

from gear.rules.gearbook import COLUMNS as GEAR_COLUMNS
from inspections.rules.testbook import COLUMNS as TEST_COLUMNS

GLOVE = {
    "kind": "glove",
    "class": "2",
    "hand": "L",
    "size": "10",
    "length_mm": "360",
    "holder": "Dev",
    "holder_kind": "person",
    "crew": "Crew 7",
    "depot": "Harbour depot",
    "received_on": "2026-01-05",
    "first_issued_on": "2026-02-01",
}


def gear_rows(*rows: dict) -> list[dict]:
    """Rows of a gear book; a class 2 glove in Dev's hands unless told otherwise. `cls` stands for class."""
    return [
        {**GLOVE, **{"class" if name == "cls" else name: value for name, value in row.items()}}
        for row in rows
    ]


def gear_book(folder: Path, *rows: dict, name: str = "gear.csv") -> Path:
    """A CSV gear book with every column."""
    return _csv(folder / name, GEAR_COLUMNS, gear_rows(*rows))


def _csv(path: Path, columns: tuple[str, ...], rows: list[dict]) -> Path:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, columns, restval="")
        writer.writeheader()
        writer.writerows(rows)
    return path


def workbook(folder: Path, book: str, *rows: dict) -> Path:
    """The same rows in the first sheet of an XLSX workbook."""
    made = gear_rows(*rows) if book == "gear" else bench_rows(*rows)
    columns = sorted({name for row in made for name in row})
    sheets = Workbook()
    sheet = sheets.active
    sheet.append(columns)
    for row in made:
        sheet.append([row.get(name, "") for name in columns])
    path = folder / f"{book}.xlsx"
    sheets.save(path)
    return path


TEST = {
    "tested_on": "2026-03-02",
    "purpose": "in_service",
    "supply": "ac",
    "applied_v": "20000",
    "seconds": "60",
    "leakage_ma": "12.5",
    "visual": "accept",
    "breakdown": "no",
    "flashover": "no",
    "report_no": "R-1",
}


def bench_rows(*rows: dict) -> list[dict]:
    """Rows of a test book; an accepted in-service test of a class 2 glove unless told otherwise."""
    return [{**TEST, **row} for row in rows]


def jumper_test(item_no: str, **columns: str) -> dict:
    """A row about a jumper: resistance and temperature, no voltage."""
    bare = {"supply": "", "applied_v": "", "seconds": "", "leakage_ma": "", "breakdown": "", "flashover": ""}
    return {**bare, "item_no": item_no, "resistance_mohm": "1.0", "cable_temp_c": "20", **columns}


def bench_book(folder: Path, *rows: dict, name: str = "tests.csv") -> Path:
    """A CSV test book with every column."""
    return _csv(folder / name, TEST_COLUMNS, bench_rows(*rows))
