"""Where on a kind of piece the eye found something, counted. Each count is a number of entries and nothing else.

An entry that names two places counts at both, and one that names two words counts under both: counts of places and
words therefore add up to more than the entries. A share is told from ENOUGH entries on, with its 95 % interval; below,
only how many there are. It is a share of what was found, never a rate of failure: how many pieces were looked at
without a finding is not in it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import sqrt

from gear.rules import places_on

ENOUGH = 30  # below, a share of so few says nothing; common practice, no source
SHADES = 4
_Z = 1.959963984540054  # of a two-sided 95 % interval


@dataclass(frozen=True)
class Finding:
    """What one entry says: its id, the item, the words of gear.rules.visual, and the code of a place, or empty."""

    entry: str
    item_no: str
    words: tuple[str, ...]
    place: str


@dataclass(frozen=True)
class Spot:
    """A part seen from one side. Both are empty where the entry names no place; `side` where no side was said."""

    part: str
    side: str


@dataclass(frozen=True)
class Counted:
    """The entries at one spot: all of them, and those under each word, the most frequent first.

    A finding without a word stands under the empty word.
    """

    spot: Spot
    entries: tuple[str, ...]
    words: tuple[tuple[str, tuple[str, ...]], ...]

    @property
    def count(self) -> int:
        return len(self.entries)


def counted(kind: str, findings: Iterable[Finding]) -> list[Counted]:
    """Every spot at which something was found: in the order of the parts and sides, without a place last."""
    at: dict[Spot, list[Finding]] = {}
    for finding in findings:
        for spot in spots_of(kind, finding.place):
            at.setdefault(spot, []).append(finding)
    parts, sides = (*places_on.parts_of(kind), ""), (*places_on.sides_of(kind), "")
    ordered = sorted(at, key=lambda spot: (parts.index(spot.part), sides.index(spot.side)))
    return [Counted(spot, tuple(one.entry for one in at[spot]), _by_word(at[spot])) for spot in ordered]


def spots_of(kind: str, place: str) -> tuple[Spot, ...]:
    """The spots that a place names; what cannot be read as a place of this kind counts as none said."""
    try:
        side, parts = places_on.read(kind, place)
    except ValueError:
        return (Spot("", ""),)
    return tuple(Spot(part, side) for part in parts)


def _by_word(findings: Sequence[Finding]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    under: dict[str, list[str]] = {}
    for finding in findings:
        for word in dict.fromkeys(finding.words) or ("",):
            under.setdefault(word, []).append(finding.entry)
    return tuple(
        (word, tuple(under[word])) for word in sorted(under, key=lambda word: (-len(under[word]), word))
    )


def shade(count: int, most: int) -> int:
    """0 for nothing to SHADES for the most that any part has: as many steps as grey paper can tell apart."""
    return -(-SHADES * count // most) if most else 0


def share(count: int, of: int) -> tuple[float, float, float] | None:
    """(share, lower, upper) in per cent, the interval by Wilson's formula; None below ENOUGH.

    E. B. Wilson, Journal of the American Statistical Association 22 (1927), p. 209.
    """
    return (100 * count / of, *wilson(count, of)) if of >= ENOUGH else None


def wilson(count: int, of: int) -> tuple[float, float]:
    """The 95 % interval of a proportion, in per cent. `of` is at least 1."""
    square = _Z * _Z
    middle = (count + square / 2) / (of + square)
    half = _Z / (of + square) * sqrt(count * (of - count) / of + square / 4)
    return 100 * max(0.0, middle - half), 100 * min(1.0, middle + half)
