"""What visitors bring, as rows that are keyed or pasted: whose it is, what it is, what the owner's paper says of it.

A row is one person's pair, or one piece. Nothing here is proof: `lacks` says what a statement lacks before it may be
judged as a test at all, and `inspections.rules.acceptance` judges the readings like those of any other test.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from gear.rules.gearbook import COLUMNS as BOOK
from gear.rules.readiness import HANDED
from gear.rules.tables import Problem, Row
from inspections.rules.testbook import COLUMNS as TESTS

HANDS = ("L", "R")
# What may be said once for all rows that say nothing else of it: no number, no reading, no look.
SHARED = (
    "kind", "class", "length_mm", "type", "maker", "tested_on", "supply", "applied_v", "seconds", "lab", "report_no",
    "lab_result",
)  # fmt: skip
COLUMNS = (
    "person", "size", "number", "number_right", "leakage_ma", "leakage_ma_right", "hand", *SHARED, "cable_size",
    "cable_length_m", "resistance_mohm", "cable_temp_c",
)  # fmt: skip
PLAIN = COLUMNS[:6]  # the order of a paste that has no header
LONGEST_CELL, MOST_ROWS = 80, 500
ITEMS, SETS = "V-", "VP-"
_NUMBER = re.compile(r"M-([0-9]{4,})")


@dataclass(frozen=True)
class Piece:
    """One piece of a row: its cells of a gear book and of a test book. `line` is its own, `at` the place of its row."""

    line: int
    at: int
    person: str
    number: str
    gear: Row
    test: Row


def next_number(taken: Iterable[str]) -> str:
    """The number of the next visit: M-0001, then M-0002."""
    given = [int(found[1]) for number in taken if (found := _NUMBER.fullmatch(number))]
    return f"M-{max(given, default=0) + 1:04d}"


def counted_on(head: str, taken: Iterable[str]) -> Iterator[str]:
    """The numbers of a series after the highest that was given: V-00001, V-00002."""
    tails = [one.removeprefix(head) for one in taken if one.startswith(head)]
    count = max((int(one) for one in tails if one.isascii() and one.isdigit()), default=0)
    while True:
        count += 1
        yield f"{head}{count:05d}"


def pasted(text: str) -> tuple[list[dict[str, str]], list[Problem]]:
    """The rows of a text copied from a spreadsheet or a CSV file, and what is wrong with the text.

    Cells are parted by tabs, commas or semicolons. A first line that names columns is the header; without one the
    cells are those of PLAIN, in that order.
    """
    lines = [line for line in text.lstrip("\ufeff").splitlines() if line.strip()]
    if not lines:
        return [], [Problem(0, "MISSING", {"field": "paste"})]
    if len(lines) > MOST_ROWS:
        return [], [Problem(0, "TOO_MANY", {"field": "paste", "shown": len(lines), "most": MOST_ROWS})]
    parting = next((sign for sign in "\t;" if sign in lines[0]), ",")
    table = list(csv.reader(io.StringIO("\n".join(lines)), delimiter=parting))
    names = [cell.strip().lower().replace(" ", "_") for cell in table[0]]
    headed = "person" in names
    if not headed:
        names = list(PLAIN)
    problems = [Problem(0, "NOT_A_COLUMN", {"shown": name}) for name in names if name not in COLUMNS]
    problems += [Problem(0, "COLUMN_TWICE", {"shown": name}) for name in set(names) if names.count(name) > 1]
    rows = []
    for at, cells in enumerate(table[headed:], start=1):
        if len([*cells]) > len(names) and any(cell.strip() for cell in cells[len(names) :]):
            problems.append(Problem(at, "ROW_LENGTH", {"count": len(cells), "wanted": len(names)}))
        rows.append({name: cell.strip() for name, cell in zip(names, cells, strict=False) if cell.strip()})
    return ([], problems) if problems else (rows, [])


def merged(cells: Mapping[str, str], shared: Mapping[str, str]) -> dict[str, str]:
    """The cells of a row, with what holds for all rows where it says nothing itself."""
    said = {name: shared[name] for name in SHARED if shared.get(name)}
    return {**said, **{name: cell for name, cell in cells.items() if cell}}


def pieces_of(
    rows: Sequence[Mapping[str, str]],
    *,
    owner: str,
    depot: str | None,
    received_on: str,
    items: Iterator[str],
    sets: Iterator[str],
) -> list[Piece]:
    """The pieces of merged rows in order, each under the next number; a pair gets a set of its own."""
    found: list[Piece] = []
    for at, cells in enumerate(rows):
        paired = cells.get("kind") in HANDED and not cells.get("hand")
        set_no = next(sets) if paired else ""
        for hand in HANDS if paired else (cells.get("hand", ""),):
            own = {"item_no": next(items), "hand": hand, "set_no": set_no}
            place = {"holder": held_by(cells.get("person", ""), owner), "holder_kind": "contractor"}
            place |= {"depot": depot or "", "received_on": received_on}
            found.append(_piece(len(found) + 1, at, {**cells, **own, **place}))
    return found


def held_by(person: str, owner: str) -> str:
    """The name under which the record has a visitor: `Ana Ruiz (Harrow Bay)`, the organisation for what is nobody's."""
    return f"{person} ({owner})" if person else owner


def kept_piece(cells: Mapping[str, str], *, item_no: str, hand: str) -> Piece:
    """A piece that is in the book, as its row states it."""
    paired = cells.get("kind") in HANDED and not cells.get("hand")
    return _piece(1, 0, {**cells, "item_no": item_no, "hand": hand, "set_no": "pair" if paired else ""})


def _piece(line: int, at: int, cells: Mapping[str, str]) -> Piece:
    right = cells.get("hand") == "R"
    number = (cells.get("number_right") if right else "") or cells.get("number", "")
    # One number may stand on both hands; a reading belongs to one glove and is never copied to the other.
    both = right and bool(cells.get("set_no"))
    current = cells.get("leakage_ma_right" if both else "leakage_ma", "")
    of_test = {**cells, "leakage_ma": current, "purpose": "in_service", "visual": "accept"}
    return Piece(
        line,
        at,
        cells.get("person", ""),
        number,
        Row(line, _stated(BOOK, {**cells, "serial": number})),
        Row(line, _stated(TESTS, of_test)),
    )


def _stated(names: Iterable[str], cells: Mapping[str, str]) -> dict[str, str]:
    return {name: cells[name] for name in names if cells.get(name)}


def needs(kind: str) -> tuple[str, ...]:
    """The cells without which a row says nothing that could ever be judged."""
    more = {"glove": ("class", "length_mm"), "grounding_jumper": ("cable_size", "cable_length_m")}
    classed = ("sleeve", "blanket", "line_hose", "hood", "rigid_cover")
    return ("kind", *more.get(kind, ()), *(("class",) if kind in classed else ()))


def lacks(piece: Piece, *, papers: Iterable[str], look: str) -> str:
    """The code of the first thing that keeps the owner's statement from being judged as a test, or nothing.

    A paper proves something of a piece only where it was seen here, names a day, a lab, a report and a result, and
    the number that is marked on the piece; and where a named person of ours has looked at the piece and accepted it.
    """
    cells = piece.test.cells
    for name, code in (("tested_on", "NO_DATE"), ("lab", "NO_LAB"), ("report_no", "NO_REPORT")):
        if not cells.get(name):
            return code
    if not piece.number:
        return "NO_NUMBER"
    if cells["report_no"] not in papers:
        return "NOT_SEEN"
    if cells.get("lab_result") != "accept":
        return "PAPER_REJECTS" if cells.get("lab_result") else "NO_RESULT"
    return "" if look == "accept" else "NOT_LOOKED_AT"
