"""A batch of new gear as one statement: what all pieces share, and how their numbers and serials are counted up."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import zip_longest

from gear.rules import ranges
from gear.rules.tables import Problem, Row
from gear.rules.values import BadValue

HANDS = ("L", "R")
PIECES = ("pairs", "L", "R", "")  # pairs of both hands, one hand, or a kind without hands
NUMBERINGS = ("each", "hand")  # a number for each piece, or one for a pair with its hand after it
SERIALS = ("none", "range", "list")
SERIAL_OF = (
    "same",
    "hand",
    "each",
)  # of a pair: one for both, one with the hand after it, one for each piece


@dataclass(frozen=True)
class Delivery:
    """`count` is pairs where `pieces` is "pairs", else pieces. `shared` are cells of the gear book.

    `per_set` pieces form one set; a pair is always one. `set_no` is the first set number.
    """

    kind: str
    count: int
    first_no: str
    shared: Mapping[str, str] = field(default_factory=dict)
    pieces: str = ""
    numbering: str = "each"
    serials: str = "none"
    first_serial: str = ""
    last_serial: str = ""
    serial_list: tuple[str, ...] = ()
    serial_of: str = "same"
    set_no: str = ""
    per_set: int = 0

    @property
    def paired(self) -> bool:
        return self.pieces == "pairs"

    @property
    def total(self) -> int:
        """The pieces in all."""
        return self.count * 2 if self.paired else self.count


def rows_of(batch: Delivery) -> tuple[list[Row], list[Problem]]:
    """The rows of a gear book that the batch is, the first on line 1, and what is wrong with the ranges.

    A problem with a whole range is told on line 0, one with a row on the line of the row.
    """
    problems: list[Problem] = []
    try:
        numbers = _numbers(batch)
        sets = _sets(batch)
    except BadValue as error:
        return [], [Problem(0, error.code, error.values)]
    try:
        serials = _serials(batch)
    except BadValue as error:
        return [], [Problem(0, error.code, error.values)]
    problems += _mismatch(batch, serials, numbers)
    rows = []
    for at, number in enumerate(numbers):
        cells = {
            **batch.shared,
            "kind": batch.kind,
            "item_no": number,
            "hand": _hand(batch, at),
            "serial": serials[at] if at < len(serials) else "",
            "set_no": sets[at // _set_size(batch)] if sets else "",
        }
        rows.append(Row(at + 1, {name: cell for name, cell in cells.items() if cell}))
    return rows, problems


def _hand(batch: Delivery, at: int) -> str:
    return HANDS[at % 2] if batch.paired else batch.pieces


def _numbers(batch: Delivery) -> list[str]:
    if batch.total > ranges.MOST:
        raise BadValue("TOO_MANY", "count", batch.count, most=ranges.MOST // (2 if batch.paired else 1))
    if batch.paired and batch.numbering == "hand":
        whole = ranges.count_up("first_no", batch.first_no, batch.count)
        return [f"{number}-{hand}" for number in whole for hand in HANDS]
    return ranges.count_up("first_no", batch.first_no, batch.total)


def _set_size(batch: Delivery) -> int:
    return 2 if batch.paired else batch.per_set or 1


def _sets(batch: Delivery) -> list[str]:
    if not batch.paired and not batch.per_set:
        return []
    size = _set_size(batch)
    if batch.total % size:
        raise BadValue("SETS_NOT_WHOLE", "per_set", size, count=batch.total)
    return ranges.count_up("batch_set_no", batch.set_no, batch.total // size)


def _serials(batch: Delivery) -> list[str]:
    """The serial of every piece in order, more or fewer than there are pieces where the ranges differ."""
    if batch.serials == "none":
        return []
    stated = (
        ranges.between("last_serial", batch.first_serial, batch.last_serial)
        if batch.serials == "range"
        else list(batch.serial_list)
    )
    if not batch.paired or batch.serial_of == "each":
        return stated
    after = {hand: f"-{hand}" if batch.serial_of == "hand" else "" for hand in HANDS}
    return [f"{serial}{after[hand]}" for serial in stated for hand in HANDS]


def _mismatch(batch: Delivery, serials: list[str], numbers: list[str]) -> Iterator[Problem]:
    """The first row that gets no serial, or the first serial that no row takes."""
    if batch.serials == "none":
        return
    for at, (serial, number) in enumerate(zip_longest(serials, numbers), 1):
        if serial is None or number is None:
            shown = {"serials": len(serials), "count": len(numbers)}
            if serial is None:
                yield Problem(at, "SERIAL_SHORT", {"field": "serial", "shown": number, **shown})
            else:
                yield Problem(at, "SERIAL_LEFT", {"field": "serial", "shown": serial, **shown})
            return
