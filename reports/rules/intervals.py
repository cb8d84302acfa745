"""Proportions with their intervals, and whether two proportions differ by more than chance: exact, in plain Python.

Two-sided, 95 % unless said otherwise. Sources, from memory where no copy was at hand: E. B. Wilson 1927 (the interval
that is shown); C. J. Clopper and E. S. Pearson 1934 (the exact interval, the worst case); R. A. Fisher 1935 (the exact
test of a table of two by two); S. Holm 1979 (many comparisons at once). The tests compare all four with scipy.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import comb, exp, inf, lgamma, log, log1p

from gear.rules.patterns import ENOUGH, wilson

ALPHA = 0.05


@dataclass(frozen=True)
class Share:
    """`count` of `of`, with both intervals in per cent. `tells` is False where so few say nothing."""

    count: int
    of: int

    @property
    def tells(self) -> bool:
        return self.of >= ENOUGH

    @property
    def percent(self) -> float | None:
        """The bare share, None where it must not be shown."""
        return 100 * self.count / self.of if self.tells else None

    @property
    def shown(self) -> tuple[float, float] | None:
        """Wilson's interval; None of nothing."""
        return wilson(self.count, self.of) if self.of else None

    @property
    def worst(self) -> tuple[float, float] | None:
        """The interval of Clopper and Pearson; None of nothing."""
        return clopper_pearson(self.count, self.of) if self.of else None


def clopper_pearson(count: int, of: int, *, alpha: float = ALPHA) -> tuple[float, float]:
    """The exact interval of a proportion, in per cent. `of` is at least 1, `count` from 0 to `of`."""
    if not 0 <= count <= of or of < 1:
        raise ValueError(f"{count} of {of} is no proportion.")
    return 100 * _lower(count, of, alpha / 2), 100 * (1 - _lower(of - count, of, alpha / 2))


def _lower(count: int, of: int, tail: float) -> float:
    """The proportion under which `count` or more of `of` would be found with a chance of `tail`; 0 for none."""
    if count == 0:
        return 0.0
    return _where(lambda p: _at_least(count, of, p) - tail)


def _where(rises: Callable[[float], float]) -> float:
    """The place between 0 and 1 at which a rising function is 0, halving until nothing lies between."""
    low, high = 0.0, 1.0
    while low < (middle := (low + high) / 2) < high:
        low, high = (middle, high) if rises(middle) < 0 else (low, middle)
    return (low + high) / 2


def _at_least(count: int, of: int, p: float) -> float:
    """The chance of `count` or more of `of`; the shorter tail is summed."""
    if p in (0.0, 1.0):
        return p
    if count > of * p:
        return sum(_binomial(number, of, p) for number in range(count, of + 1))
    return 1 - sum(_binomial(number, of, p) for number in range(count))


def _binomial(count: int, of: int, p: float) -> float:
    ways = lgamma(of + 1) - lgamma(count + 1) - lgamma(of - count + 1)
    return exp(ways + count * log(p) + (of - count) * log1p(-p))


@dataclass(frozen=True)
class Compared:
    """Two proportions: the ratio of their odds (inf where the other has none) and the chance of as odd a table."""

    odds_ratio: float | None
    p: float


def fisher(count: int, of: int, other: int, other_of: int) -> Compared:
    """The two-sided exact test of `count` of `of` against `other` of `other_of`, in whole numbers throughout.

    All tables with the same margins that are no likelier than the one found are added up. Where one side is empty
    nothing differs: p is 1.
    """
    if not (0 <= count <= of and 0 <= other <= other_of):
        raise ValueError("A part is larger than its whole.")
    found = count + other
    first, last = max(0, found - other_of), min(of, found)
    ways = [comb(of, number) * comb(other_of, found - number) for number in range(first, last + 1)]
    least = ways[count - first]
    p = sum(one for one in ways if one <= least) / sum(ways)
    return Compared(_odds_ratio(count, of, other, other_of), min(1.0, p))


def _odds_ratio(count: int, of: int, other: int, other_of: int) -> float | None:
    above, below = count * (other_of - other), other * (of - count)
    if below:
        return above / below
    return inf if above else None


def holm(ps: Sequence[float]) -> list[float]:
    """Each p as it counts among all of them, in the order given: the chance of any false call stays below alpha."""
    adjusted, worst = [0.0] * len(ps), 0.0
    for rank, index in enumerate(sorted(range(len(ps)), key=lambda one: ps[one])):
        worst = max(worst, min(1.0, (len(ps) - rank) * ps[index]))
        adjusted[index] = worst
    return adjusted


@dataclass(frozen=True)
class Group:
    """One group against all others together. `p` is after Holm; `differs` where that and the interval say so."""

    name: str
    share: Share
    rest: Share
    odds_ratio: float | None
    p: float

    @property
    def differs(self) -> bool:
        """Whether chance is an unlikely explanation: p after Holm below alpha, and the interval excludes the whole."""
        if self.p >= ALPHA or not self.share.of:
            return False
        low, high = clopper_pearson(self.share.count, self.share.of)
        overall = 100 * (self.share.count + self.rest.count) / (self.share.of + self.rest.of)
        return not low <= overall <= high


def against_the_rest(counts: dict[str, tuple[int, int]]) -> list[Group]:
    """Every group (name: (count, of)) against the rest, corrected for how many there are, in order of name.

    A group of nothing is left out; a single group has no rest and differs from nothing.
    """
    named = {name: pair for name, pair in sorted(counts.items()) if pair[1]}
    count, of = (sum(pair[place] for pair in named.values()) for place in (0, 1))
    tested = {name: fisher(k, n, count - k, of - n) for name, (k, n) in named.items()}
    ps = holm([one.p for one in tested.values()])
    return [
        Group(name, Share(k, n), Share(count - k, of - n), tested[name].odds_ratio, p)
        for (name, (k, n)), p in zip(named.items(), ps, strict=True)
    ]
