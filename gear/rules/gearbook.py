"""The gear book as a file: rows that say what an item is, where it is and how it came there."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Any

from gear.rules import values
from gear.rules.entries import CONDITIONS, HOLDER_KINDS
from gear.rules.hashing import canonical
from gear.rules.readiness import KINDS
from gear.rules.tables import Problem, Row, Table, parsed
from gear.rules.values import BadValue

COLUMNS = (
    "item_no", "serial", "kind", "class", "hand", "size", "length_mm", "type", "colour", "maker", "model", "lot",
    "made_on", "received_on", "first_issued_on", "marked_expiry_on", "rated_kv", "cable_size", "cable_length_m",
    "clamp_grade", "ferrule_grade", "set_no", "holder", "holder_kind", "crew", "depot", "condition",
)  # fmt: skip
REQUIRED = ("item_no", "kind", "holder", "holder_kind")
RUBBER_CLASSES = ("00", "0", "1", "2", "3", "4")
CLASSES: Mapping[str, tuple[str, ...]] = {
    **dict.fromkeys(("glove", "sleeve", "blanket", "line_hose", "hood", "protector"), RUBBER_CLASSES),
    "rigid_cover": ("2", "3", "4", "5", "6"),
}
CABLE_SIZES = ("#2", "1/0", "2/0", "3/0", "4/0", "250 kcmil", "350 kcmil")
GRADES = tuple(f"{number}{high}" for number in range(1, 8) for high in ("", "H"))
# column: the kinds it belongs to; a column not named here belongs to all
BELONGS: Mapping[str, frozenset[str]] = {
    "hand": frozenset({"glove", "sleeve", "protector"}),
    "size": frozenset(KINDS) - {"grounding_jumper"},
    "length_mm": frozenset(KINDS) - {"grounding_jumper"},
    "type": frozenset({"glove", "sleeve", "blanket", "line_hose", "hood"}),
    "cable_size": frozenset({"grounding_jumper"}),
    "cable_length_m": frozenset({"grounding_jumper"}),
    "clamp_grade": frozenset({"grounding_jumper"}),
    "ferrule_grade": frozenset({"grounding_jumper"}),
}
# kind: plausible length in mm and the smallest value that is not inches or centimetres (common practice, no source)
LENGTHS: Mapping[str, tuple[int, int]] = {"glove": (200, 600), "sleeve": (200, 1200)}
LONG_CABLE_M = Decimal("12.2")  # 40 ft: longer jumpers are rare (common practice, no source)
ANY_LENGTH = (100, 20_000)


@dataclass(frozen=True, slots=True)
class GearRow:
    """One item of a gear book. Lengths in mm, cable in m, kV as printed; None means not stated."""

    line: int
    item_no: str
    kind: str
    holder: str
    holder_kind: str
    serial: str | None = None
    cls: str | None = None
    hand: str | None = None
    size: str | None = None
    length_mm: int | None = None
    type: str | None = None
    colour: str | None = None
    maker: str | None = None
    model: str | None = None
    lot: str | None = None
    made_on: date | None = None
    received_on: date | None = None
    first_issued_on: date | None = None
    marked_expiry_on: date | None = None
    rated_kv: Decimal | None = None
    cable_size: str | None = None
    cable_length_m: Decimal | None = None
    clamp_grade: str | None = None
    ferrule_grade: str | None = None
    set_no: str | None = None
    crew: str | None = None
    depot: str | None = None
    condition: str = "ok"

    @property
    def identity(self) -> dict[str, Any]:
        """What the `received` entry says of the item, as JSON values."""
        names = ("hand", "size", "length_mm", "type", "colour", "maker", "model", "serial", "lot", "cable_size",
                 "clamp_grade", "ferrule_grade")  # fmt: skip
        dates = {name: _iso(getattr(self, name)) for name in ("made_on", "marked_expiry_on")}
        numbers = {name: _plain(getattr(self, name)) for name in ("rated_kv", "cable_length_m")}
        return {"kind": self.kind, "class": self.cls, **{name: getattr(self, name) for name in names},
                **dates, **numbers}  # fmt: skip

    @property
    def fingerprint(self) -> str:
        """SHA-256 over all that the row states, the line apart: equal rows are repeats.

        What is not stated leaves no trace in it, so that a row stays the same when the book learns a new column.
        """
        cells = {one.name: _text(getattr(self, one.name)) for one in fields(self) if one.name != "line"}
        stated = {name: cell for name, cell in cells.items() if cell is not None}
        return hashlib.sha256(canonical(stated)).hexdigest()


@dataclass(frozen=True)
class GearBook:
    """What a file holds: rows to register, lines that repeat an earlier one, problems and notes."""

    rows: tuple[GearRow, ...]
    repeats: tuple[GearRow, ...]
    problems: tuple[Problem, ...]
    notes: tuple[Problem, ...] = field(default=())


def parse(table: Table, *, today: date) -> GearBook:
    """Check every row that can be checked without the database. Nothing is guessed; a bad row is named."""
    rows: list[GearRow] = []
    problems = list(table.problems)
    for raw in table.rows:
        row, found = parse_row(raw, today=today)
        problems += found
        if row is not None:
            rows.append(row)
    kept, repeats, found = _within_file(rows)
    notes = [note for row in kept for note in _notes(row)]
    return GearBook(tuple(kept), tuple(repeats), tuple(sorted(problems + found, key=lambda one: one.line)),
                    tuple(notes))  # fmt: skip


def parse_row(raw: Row, *, today: date) -> tuple[GearRow | None, list[Problem]]:
    """One row of cells to a GearRow, or None with the problems that refuse it."""
    found, problems = parsed(raw, _readers(today))
    missing = [name for name in REQUIRED if name not in raw.cells]
    problems += [Problem(raw.line, "MISSING", {"field": name}) for name in missing]
    if found["kind"] is not None:
        problems += [Problem(raw.line, error.code, error.values) for error in _kind_errors(found, raw)]
    problems += [Problem(raw.line, error.code, error.values) for error in _order_errors(found)]
    if problems:
        return None, problems
    stated = {
        ("cls" if name == "class" else name): value for name, value in found.items() if value is not None
    }
    return GearRow(line=raw.line, **stated), []


def _readers(today: date) -> Mapping[str, Any]:
    def word(*allowed: str) -> Any:
        return partial(values.one_of, allowed=allowed)

    past = partial(values.day, not_after=today)
    free = dict.fromkeys(("serial", "size", "colour", "model", "lot", "maker"), values.text)
    short = partial(values.text, most=80)
    return {
        "item_no": values.item_number, "kind": word(*KINDS), "class": values.text, "hand": word("L", "R"),
        "length_mm": values.whole, "type": word("I", "II"), "made_on": past, "received_on": past,
        "first_issued_on": past, "marked_expiry_on": values.day, "rated_kv": _positive,
        "cable_size": word(*CABLE_SIZES), "cable_length_m": _positive, "clamp_grade": word(*GRADES),
        "ferrule_grade": word(*GRADES),
        "set_no": values.item_number, "holder": short, "holder_kind": word(*HOLDER_KINDS), "crew": short,
        "depot": short, "condition": word(*CONDITIONS), **free,
        "size": partial(values.identifier, most=20), "colour": partial(values.text, most=40),
        "serial": partial(values.identifier, most=60), "lot": partial(values.identifier, most=60),
        "maker": short, "model": partial(values.identifier, most=80),
    }  # fmt: skip


def _positive(name: str, given: str) -> Decimal:
    value = values.decimal(name, given)
    most = {"cable_length_m": 60, "rated_kv": 1000}[name]
    if not 0 < value <= most:
        raise BadValue("OUT_OF_RANGE", name, given, least=0, most=most)
    return value


def _kind_errors(found: Mapping[str, Any], raw: Row) -> Iterator[BadValue]:
    kind = found["kind"]
    for name, kinds in BELONGS.items():
        if name in raw.cells and kind not in kinds:
            yield BadValue("WRONG_KIND", name, raw.cells[name], kind=kind)
    if found["class"] is not None:
        allowed = CLASSES.get(kind)
        if allowed is None:
            yield BadValue("WRONG_KIND", "class", found["class"], kind=kind)
        elif found["class"] not in allowed:
            yield BadValue("NOT_ONE_OF", "class", found["class"], allowed=", ".join(allowed))
    if found["length_mm"] is not None:
        least, most = LENGTHS.get(kind, ANY_LENGTH)
        if not least <= found["length_mm"] <= most:
            unit = found["length_mm"] < least
            yield BadValue("UNIT" if unit else "OUT_OF_RANGE", "length_mm", found["length_mm"], unit="mm",
                           least=least, most=most)  # fmt: skip


def _order_errors(found: Mapping[str, Any]) -> Iterator[BadValue]:
    named = ("made_on", "received_on", "first_issued_on")
    stated = [(name, found[name]) for name in named if found[name] is not None]
    if found["made_on"] and found["marked_expiry_on"]:
        stated_pairs = [*zip(stated, stated[1:], strict=False),
                        (("made_on", found["made_on"]), ("marked_expiry_on", found["marked_expiry_on"]))]  # fmt: skip
    else:
        stated_pairs = [*zip(stated, stated[1:], strict=False)]
    for (early, first), (late, second) in stated_pairs:
        if second < first or (late == "marked_expiry_on" and second == first):
            yield BadValue("ORDER", late, second, other=early, other_shown=first.isoformat())


def _within_file(rows: list[GearRow]) -> tuple[list[GearRow], list[GearRow], list[Problem]]:
    """Rows kept, identical repeats, and problems between lines of one file."""
    kept: dict[str, GearRow] = {}
    repeats, problems = [], []
    serials: dict[tuple, int] = {}
    sets: dict[str, GearRow] = {}
    seen: dict[str, GearRow] = {}
    for row in rows:
        first = kept.get(row.item_no)
        if first is not None:
            if first.fingerprint == row.fingerprint:
                repeats.append(row)
            else:
                problems.append(_between("REPEATED", row, "item_no", row.item_no, first.line))
            continue
        kept[row.item_no] = row
        problems += _look_alike(row, seen)
        if row.serial:
            key = (row.maker, row.serial, row.hand)
            if key in serials:
                problems.append(_between("SAME_SERIAL", row, "serial", row.serial, serials[key]))
            serials.setdefault(key, row.line)
        if row.set_no:
            mate = sets.setdefault(row.set_no, row)
            if mate.kind != row.kind:
                problems.append(_between("MIXED_SET", row, "set_no", row.set_no, mate.line))
    return list(kept.values()), repeats, problems


def _look_alike(row: GearRow, seen: dict[str, GearRow]) -> Iterator[Problem]:
    """Another number of the file that an eye in a hurry takes for this one; both keys of this one are remembered."""
    keys = {values.skeleton(row.item_no), row.item_no.casefold()}
    others = [seen[key] for key in keys if key in seen]
    if others:
        first = min(others, key=lambda one: one.line)
        yield _between("LOOKS_LIKE", row, "item_no", row.item_no, first.line)
    for key in keys:
        seen.setdefault(key, row)


def _between(code: str, row: GearRow, name: str, shown: str, other: int) -> Problem:
    return Problem(row.line, code, {"field": name, "shown": shown, "other": other})


def _notes(row: GearRow) -> Iterator[Problem]:
    if row.kind in ("glove", "sleeve") and row.hand is None:
        yield Problem(row.line, "HAND_NOT_STATED")
    if row.kind in CLASSES and row.kind != "protector" and row.cls is None:
        yield Problem(row.line, "CLASS_NOT_STATED")
    if row.kind == "glove" and row.length_mm is None:
        yield Problem(row.line, "LENGTH_NOT_STATED")
    if row.kind == "grounding_jumper" and (row.cable_size is None or row.cable_length_m is None):
        yield Problem(row.line, "CABLE_NOT_STATED")
    if row.cable_length_m is not None and row.cable_length_m > LONG_CABLE_M:
        yield Problem(row.line, "IN_FEET", {"field": "cable_length_m", "shown": str(row.cable_length_m)})


def _iso(value: date | None) -> str | None:
    return value.isoformat() if value else None


def _plain(value: Decimal | None) -> str | None:
    """The one text of a number: 3.0 and 3.000 are both 3."""
    if value is None:
        return None
    text = format(value, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _text(value: Any) -> str | None:
    return _plain(value) if isinstance(value, Decimal) else None if value is None else str(value)
