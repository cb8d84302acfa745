"""What every person who works on the lines is given, and what is missing from it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from gear.rules.fold import ItemFacts
from gear.rules.pairs import Pair
from gear.rules.readiness import GOOD, HANDED, Answer

LARGEST = 20  # of one sort; nobody carries more
LONGEST = 12  # lines


@dataclass(frozen=True)
class Need:
    """One line of the kit. `count` is in pairs for gloves and sleeves, in pieces for the rest; no class is any."""

    kind: str
    cls: str
    count: int

    @property
    def in_pairs(self) -> bool:
        return self.kind in HANDED


# Common practice, no source: what a site that has not said otherwise is taken to hand out.
SHIPPED = (
    Need("glove", "2", 2),
    Need("glove", "0", 1),
    Need("sleeve", "2", 1),
    Need("protector", "", 2),
)


@dataclass(frozen=True)
class Line:
    """A need and how many that are good the person has of it, at most as many as are needed."""

    need: Need
    has: int

    @property
    def missing(self) -> int:
        return self.need.count - self.has


@dataclass(frozen=True)
class Kit:
    """Every line of the list. Complete means that nothing good is missing today."""

    lines: tuple[Line, ...]

    @property
    def complete(self) -> bool:
        return all(line.missing == 0 for line in self.lines)

    @property
    def missing(self) -> tuple[Line, ...]:
        return tuple(line for line in self.lines if line.missing)


def kit_of(needs: Sequence[Need], pairs: Iterable[Pair], others: Iterable[tuple[Answer, ItemFacts]]) -> Kit:
    """How far a person's gear fills the list. What is not good fills nothing, and no piece fills two lines.

    Lines that name a class are filled before lines of the same kind that name none.
    """
    have: dict[tuple[str, str], int] = {}
    for pair in pairs:
        if pair.good and pair.both_hands and pair.together:
            _count(have, pair.identity.get("kind"), pair.identity.get("class"))
    for answer, facts in others:
        if answer.verdict == GOOD and facts.kind not in HANDED:
            _count(have, facts.kind, facts.cls)
    has = {}
    for need in sorted(needs, key=lambda one: one.cls == ""):
        has[need] = _taken(have, need)
    return Kit(tuple(Line(need, has[need]) for need in needs))


def _count(have: dict[tuple[str, str], int], kind: str | None, cls: str | None) -> None:
    key = (kind or "", cls or "")
    have[key] = have.get(key, 0) + 1


def _taken(have: dict[tuple[str, str], int], need: Need) -> int:
    """How many of these fill the line; they are then spoken for."""
    filled = 0
    for key in sorted(have):
        if key[0] == need.kind and need.cls in ("", key[1]):
            some = min(have[key], need.count - filled)
            have[key] -= some
            filled += some
    return filled
