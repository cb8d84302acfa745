"""Audit samples: which pieces are drawn, how many are enough, and what finding few or none of them proves.

The draw can be computed by anybody with the start number and the item numbers: no random source of this program is in
it. The figures are those of the hypergeometric distribution (drawing without putting back, NIST/SEMATECH e-Handbook of
Statistical Methods, 1.3.6.6), in whole numbers throughout, so that nothing is rounded before it is told.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, comb

CONFIDENCE = Fraction(95, 100)


@dataclass(frozen=True)
class Member:
    """A piece that can be drawn, and the stratum it is drawn in; an empty one where all are drawn together."""

    item_no: str
    stratum: str = ""


@dataclass(frozen=True)
class Stratum:
    """How many pieces of a stratum there are, and how many of them are drawn."""

    name: str
    population: int
    size: int


@dataclass(frozen=True)
class Drawn:
    """The pieces drawn, each once, in order of stratum and item number, and the strata they stand for."""

    pieces: tuple[Member, ...]
    strata: tuple[Stratum, ...]

    @property
    def population(self) -> int:
        return sum(one.population for one in self.strata)


def score(start: str, item_no: str) -> str:
    """What a piece is drawn by: the SHA-256 of `start:item_no` in UTF-8, as 64 hexadecimal digits."""
    return hashlib.sha256(f"{start}:{item_no}".encode()).hexdigest()


def draw(members: Iterable[Member], *, size: int, start: str) -> Drawn:
    """The `size` pieces with the smallest scores; of several strata, as many of each as `shares` says.

    Raises ValueError where fewer pieces are there, none is asked for, or a stratum would get none.
    """
    groups: dict[str, list[str]] = {}
    for one in members:
        groups.setdefault(one.stratum, []).append(one.item_no)
    counts = {name: len(groups[name]) for name in sorted(groups)}
    wanted = shares(counts, size)
    pieces = [
        Member(item_no, name)
        for name in counts
        for item_no in sorted(sorted(groups[name], key=lambda no: (score(start, no), no))[: wanted[name]])
    ]
    return Drawn(tuple(pieces), tuple(Stratum(name, counts[name], wanted[name]) for name in counts))


def shares(counts: Mapping[str, int], size: int) -> dict[str, int]:
    """How many of `size` fall to each stratum: one each, and the rest in proportion by the largest remainders.

    Each stratum first gets the whole part of its share, at least one; what is then too many is taken where the share
    is exceeded most, what is missing given where it is undercut most, the first name first. Raises ValueError.
    """
    population = sum(counts.values())
    if not len(counts) <= size <= population or size < 1:
        raise ValueError(f"{size} of {population} pieces in {len(counts)} strata cannot be drawn.")
    share = {name: Fraction(size * count, population) for name, count in counts.items()}
    given = {name: max(1, int(share[name])) for name in counts}
    while (missing := size - sum(given.values())) != 0:
        if missing > 0:
            open_to_more = [name for name in sorted(counts) if given[name] < counts[name]]
            given[max(open_to_more, key=lambda name: share[name] - given[name])] += 1
        else:
            can_give = [name for name in sorted(counts) if given[name] > 1]
            given[max(can_give, key=lambda name: given[name] - share[name])] -= 1
    return given


def bad_in(population: int, share: Fraction) -> int:
    """The smallest number of pieces that is at least this share of all; at least one."""
    return max(1, ceil(share * population))


def chance_of_none(population: int, bad: int, size: int) -> Fraction:
    """The chance that a sample of `size` holds none of the `bad` pieces.

    It is the same for as many bad pieces as are drawn and the other way round; the fewer make the smaller figures.
    """
    few, many = sorted((bad, size))
    return Fraction(comb(population - many, few), comb(population, few))


def chance_of_at_most(found: int, *, population: int, bad: int, size: int) -> Fraction:
    """The chance that a sample of `size` holds at most `found` of the `bad` pieces."""
    ways = sum(comb(bad, one) * comb(population - bad, size - one) for one in range(min(found, size) + 1))
    return Fraction(ways, comb(population, size))


def size_to_catch_one(population: int, bad: int, confidence: Fraction = CONFIDENCE) -> int:
    """The smallest sample that holds at least one of `bad` pieces with this confidence. Raises ValueError.

    3,500 pieces, 35 bad: 286. 3,500, 105 bad: 97. 300, 9 bad: 84 (95 %).
    """
    if not 1 <= bad <= population or not 0 < confidence < 1:
        raise ValueError("There must be bad pieces to catch, and a confidence below certainty.")
    return _first(
        1,
        population - bad + 1,
        lambda size: chance_of_none(population, bad, size) <= 1 - confidence,
    )


@dataclass(frozen=True)
class Bounds:
    """Between how many and how many bad pieces the whole population may hold, by what a sample showed."""

    least: int
    most: int


def bounds(*, population: int, size: int, found: int, confidence: Fraction = CONFIDENCE) -> Bounds:
    """What a simple sample says of all: with none found an upper bound, one-sided; with some found an interval.

    A number of bad pieces is ruled out where a sample as poor, or as good, as this one would then have a chance of no
    more than what is left to error: all of it on one side where none was found, half on each side otherwise (the exact
    interval of Clopper and Pearson, for drawing without putting back). Raises ValueError.
    """
    if not 0 <= found <= size <= population or size < 1:
        raise ValueError("No more can be found than was drawn, nor drawn than there is.")
    fewest, highest = found, population - (size - found)
    error = 1 - confidence if found == 0 else (1 - confidence) / 2

    def too_many(bad: int) -> bool:
        return chance_of_at_most(found, population=population, bad=bad, size=size) <= error

    def enough(bad: int) -> bool:
        return 1 - chance_of_at_most(found - 1, population=population, bad=bad, size=size) > error

    least = fewest if found == 0 else _first(fewest, highest, enough)
    return Bounds(least, _first(fewest, highest + 1, lambda bad: bad > highest or too_many(bad)) - 1)


def most_by_strata(
    strata: Sequence[Stratum], found: Mapping[str, int], confidence: Fraction = CONFIDENCE
) -> int:
    """How many bad pieces all strata together may hold at most, one-sided.

    With none found: the largest number that some spread over the strata hides with a chance above what is left to
    error. A further bad piece is least likely to be caught where the smallest part of what is left was drawn, and
    that part only grows, so adding one by one gives the best spread. With some found: the sum of the bounds of the
    strata, each with its part of the error (Bonferroni), which is never too small.
    """
    if any(found.get(one.name, 0) for one in strata):
        part = 1 - (1 - confidence) / len(strata)
        return sum(_upper(one, found.get(one.name, 0), part) for one in strata)
    hidden = dict.fromkeys((one.name for one in strata), 0)
    chance, error = Fraction(1), 1 - confidence

    def stays_hidden(one: Stratum) -> Fraction:
        left = one.population - hidden[one.name]
        return Fraction(left - one.size, left) if left else Fraction(0)

    while strata:
        best = max(strata, key=stays_hidden)
        chance *= stays_hidden(best)
        if chance <= error:
            break
        hidden[best.name] += 1
    return sum(hidden.values())


def _upper(one: Stratum, found: int, confidence: Fraction) -> int:
    highest = one.population - (one.size - found)
    error = 1 - confidence

    def excluded(bad: int) -> bool:
        return (
            bad > highest
            or chance_of_at_most(found, population=one.population, bad=bad, size=one.size) <= error
        )

    return _first(found, highest + 1, excluded) - 1


def _first(low: int, high: int, holds: Callable[[int], bool]) -> int:
    """The first whole number from `low` on for which `holds`, which stays true from there; `high` is one such."""
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(middle) else (middle + 1, high)
    return low
