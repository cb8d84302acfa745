"""What a truck should carry, how far what is aboard covers it, and what a walk round the truck comes to."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from datetime import date
from typing import Any

from gear.rules.gearbook import CABLE_SIZES, CLASSES, RUBBER_CLASSES
from gear.rules.readiness import GOOD, HANDED, STOP, UNKNOWN

LARGEST = 200  # of one sort; no truck carries more
LONGEST = 40  # lines
PIECE, PAIR, SET = "piece", "pair", "set"
SEEN, NOT_SEEN, EXTRA, WRONG_TRUCK, NO_CODE = "seen", "not_seen", "extra", "wrong_truck", "unknown"
STATES = (SEEN, NOT_SEEN, EXTRA, WRONG_TRUCK, NO_CODE)
_RANKS = {cls: rank for rank, cls in enumerate((*RUBBER_CLASSES, "5", "6"))} | {
    size: rank for rank, size in enumerate(CABLE_SIZES)
}


@dataclass(frozen=True)
class Line:
    """So many of one sort. `least` is the least class, for jumpers the least cable size; empty is any.

    `size` must be the same where it is stated (`36 x 36 in`), `length_mm` is the least length. `count` is in pairs
    for gloves and sleeves, in sets for grounding jumpers, in pieces for the rest.
    """

    kind: str
    count: int
    least: str = ""
    size: str = ""
    length_mm: int | None = None

    @property
    def unit(self) -> str:
        return PAIR if self.kind in HANDED else SET if self.kind == "grounding_jumper" else PIECE

    def takes(self, identity: Mapping[str, Any]) -> bool:
        """Whether a piece that is so marked fills the line. What is not marked fills no line that asks for it."""
        if identity.get("kind") != self.kind:
            return False
        marked = identity.get("cable_size" if self.kind == "grounding_jumper" else "class")
        if self.least and not _at_least(str(marked or ""), self.least):
            return False
        if self.size and str(identity.get("size") or "").casefold() != self.size.casefold():
            return False
        return self.length_mm is None or (identity.get("length_mm") or 0) >= self.length_mm


# Common practice, no source: what a bucket truck of a rubber-glove crew of two is taken to carry in the example.
SHIPPED = (
    Line("glove", 2, "2"),
    Line("glove", 2, "0"),
    Line("sleeve", 2, "2"),
    Line("blanket", 5, "4"),
    Line("line_hose", 6, "3"),
    Line("hood", 2, "3"),
    Line("rigid_cover", 3),
    Line("grounding_jumper", 1, "#2"),
)


def leasts(kind: str) -> tuple[str, ...]:
    """What a line of this kind may ask for at least, from low to high; nothing where its kind has no classes."""
    return CABLE_SIZES if kind == "grounding_jumper" else CLASSES.get(kind, ())


def _at_least(marked: str, least: str) -> bool:
    return marked in _RANKS and _RANKS[marked] >= _RANKS[least]


def to_json(lines: Iterable[Line]) -> list[dict[str, Any]]:
    return [asdict(line) for line in lines]


def from_json(rows: Iterable[Mapping[str, Any]]) -> tuple[Line, ...]:
    """The lines of a list as kept. Raises KeyError, TypeError or ValueError for what is none."""
    names = {field.name for field in fields(Line)}
    return tuple(Line(**{name: value for name, value in row.items() if name in names}) for row in rows)


@dataclass(frozen=True)
class Aboard:
    """A piece, and the numbers of all pieces of its set (its own alone where it is in none)."""

    item_no: str
    identity: Mapping[str, Any]
    set_no: str | None = None
    members: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Cover:
    """A line and how many that count are aboard, at most as many as it asks for."""

    line: Line
    aboard: int

    @property
    def short(self) -> int:
        return self.line.count - self.aboard


def covered(lines: Sequence[Line], pieces: Collection[Aboard]) -> list[Cover]:
    """How far the pieces fill the lines, in their order. No piece fills two lines; as many as can be are filled.

    `pieces` are those that count: seen and good for as long as asked. A pair or set counts with all of it alone.
    """
    here = {piece.item_no for piece in pieces}
    units: dict[tuple[str, str], list[Aboard]] = {}
    for piece in pieces:
        units.setdefault(_unit_of(piece), []).append(piece)
    whole = {name: of for name, of in units.items() if _whole(name[0], of, here)}
    fits = [
        [
            name
            for name, of in whole.items()
            if name[0] == line.unit and all(line.takes(one.identity) for one in of)
        ]
        for line in lines
    ]
    filled = matched(fits, [line.count for line in lines])
    return [Cover(line, count) for line, count in zip(lines, filled, strict=True)]


def _unit_of(piece: Aboard) -> tuple[str, str]:
    kind = piece.identity.get("kind")
    if kind in HANDED or kind == "grounding_jumper":
        return (PAIR if kind in HANDED else SET), f"set {piece.set_no}" if piece.set_no else piece.item_no
    return PIECE, piece.item_no


def _whole(unit: str, pieces: Sequence[Aboard], here: Collection[str]) -> bool:
    if unit == PIECE:
        return True
    members = pieces[0].members
    hands = {piece.identity.get("hand") for piece in pieces}
    return members <= set(here) and (unit == SET or {"L", "R"} <= hands)


def matched(fits: Sequence[Sequence[Any]], wanted: Sequence[int]) -> list[int]:
    """How many of each line can be filled, so that the most are filled in all; `fits` are the units for each line.

    Kuhn's augmenting paths: a unit that another line could do without is given up by it.
    """
    given: dict[Any, int] = {}  # unit: line

    def place(line: int, tried: set[Any]) -> bool:
        for unit in fits[line]:
            if unit in tried:
                continue
            tried.add(unit)
            if unit not in given or place(given[unit], tried):
                given[unit] = line
                return True
        return False

    for line, count in enumerate(wanted):
        for _one in range(count):
            if not place(line, set()):
                break
    return [list(given.values()).count(line) for line in range(len(fits))]


@dataclass(frozen=True)
class Found:
    """One piece of a walk. `good_through` is the earlier of its own and its set's last good day; None is no date.

    `taken` says that it was taken over onto the truck during the walk, so that it belongs there now.
    """

    item_no: str
    state: str
    verdict: str
    good_through: date | None = None
    taken: bool = False

    @property
    def aboard(self) -> bool:
        return self.state != NOT_SEEN

    @property
    def stray(self) -> bool:
        """Aboard, and not on record here: the wrong truck's, another person's, or nobody's."""
        return self.state not in (SEEN, NOT_SEEN) and not self.taken

    def early(self, back_on: date) -> bool:
        """Good today, and out of date before the truck is back."""
        return (
            self.aboard
            and self.verdict == GOOD
            and self.good_through is not None
            and self.good_through < back_on
        )

    def blocked(self, back_on: date) -> bool:
        return self.aboard and (self.verdict != GOOD or self.early(back_on))

    def counts(self, back_on: date) -> bool:
        """Whether it fills a line of the load list."""
        return self.aboard and not self.stray and not self.blocked(back_on)


@dataclass(frozen=True)
class Tally:
    """What a walk comes to. Good only where all that is expected was seen, and nothing speaks against any of it."""

    expected: int
    seen: int
    blocked: int
    strays: int
    short: int

    @property
    def not_seen(self) -> int:
        return self.expected - self.seen

    @property
    def outcome(self) -> str:
        """Unknown where the walk is not complete: it never says that all is well, and never that a piece is bad."""
        if self.blocked:
            return STOP
        if not self.expected or self.not_seen or self.strays or self.short:
            return UNKNOWN
        return GOOD


def tally(found: Sequence[Found], *, back_on: date, short: int) -> Tally:
    """Counts over the pieces of a walk; `short` is how many the load list lacks."""
    on_list = [one for one in found if one.state in (SEEN, NOT_SEEN)]
    return Tally(
        expected=len(on_list),
        seen=sum(one.state == SEEN for one in on_list),
        blocked=sum(one.blocked(back_on) for one in found),
        strays=sum(one.stray for one in found),
        short=short,
    )


def worse(told: Found, verdict: str, good_through: date | None, *, back_on: date) -> bool:
    """Whether the server's own answer about a piece speaks against what was told of it."""
    if not told.aboard or told.blocked(back_on):
        return False
    return Found(told.item_no, told.state, verdict, good_through, told.taken).blocked(back_on)
