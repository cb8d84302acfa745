"""Pairs of gloves and sleeves: what one gives, which goes out first, and which single pieces make the best pairs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time
from typing import Any
from uuid import UUID

from gear.rules import fold, readiness
from gear.rules.entries import VERSION, Line
from gear.rules.fold import ItemFacts
from gear.rules.readiness import GOOD, HANDED, Answer, Rules

# What both hands of a pair have in common, and what a person's next pair should have in common with the last.
MATCHING = ("kind", "class", "type", "size", "length_mm")
FITTING = ("kind", "class", "size", "length_mm")
# What single pieces must have in common before a new pair is proposed: common practice, no source.
MATED_BY = (*MATCHING, "maker", "colour")
GONE = frozenset({"rejected", "destroyed", "lost"})
_SOMEBODY = {"kind": "person", "name": "-"}


@dataclass(frozen=True)
class Pair:
    """The pieces of one pair as they are now, left before right; a piece that is in no set stands alone.

    `answers` are today's, in the order of `pieces`; `gives` is the last good day of the pair once it is issued on
    `as_of`, None where a piece is not good or nothing dates it. `whole` says whether the set has no other pieces
    than these.
    """

    pieces: tuple[ItemFacts, ...]
    answers: tuple[Answer, ...]
    as_of: date
    gives: date | None = None
    whole: bool = True

    @property
    def set_no(self) -> str:
        return self.pieces[0].set_no or ""

    @property
    def name(self) -> str:
        """The number of the set, or of the single piece."""
        return self.set_no or self.pieces[0].item_no

    @property
    def identity(self) -> Mapping[str, Any]:
        return self.pieces[0].identity

    @property
    def holder(self) -> Mapping[str, Any]:
        """Where the first piece is; empty where the record does not say."""
        return self.pieces[0].holder or {}

    @property
    def depot(self) -> str | None:
        return self.holder.get("depot")

    @property
    def both_hands(self) -> bool:
        return self.whole and sorted(str(one.identity.get("hand")) for one in self.pieces) == ["L", "R"]

    @property
    def together(self) -> bool:
        """Whether all pieces are with one holder."""
        return len({_place(one) for one in self.pieces}) == 1

    @property
    def good(self) -> bool:
        return all(answer.verdict == GOOD for answer in self.answers)

    @property
    def days(self) -> int | None:
        """Days that it gives once issued on `as_of`: 0 where that is its last day."""
        return (self.gives - self.as_of).days if self.gives else None

    @property
    def good_through(self) -> date | None:
        """The earliest last good day of its pieces as they are now; None where nothing dates one of them."""
        found = [answer.good_through for answer in self.answers]
        return None if None in found else min(day for day in found if day)


def _place(facts: ItemFacts) -> tuple[Any, Any]:
    holder = facts.holder or {}
    return holder.get("kind"), holder.get("name")


def gathered(told: Iterable[tuple[Answer, ItemFacts]], *, rules: Rules, as_of: date) -> list[Pair]:
    """The pieces under the sets they belong to, each with what it gives; a piece in no set stands alone.

    `told` holds every piece of the sets concerned. In the order in which the first piece of each comes.
    """
    sets: dict[str, list[tuple[Answer, ItemFacts]]] = {}
    for answer, facts in told:
        sets.setdefault(facts.set_no or f"item:{facts.item_no}", []).append((answer, facts))
    return [pair_of(pieces, rules=rules, as_of=as_of) for pieces in sets.values()]


def pair_of(
    told: Sequence[tuple[Answer, ItemFacts]], *, rules: Rules, as_of: date, whole: bool = True
) -> Pair:
    """A pair of the pieces of one set."""
    ordered = sorted(told, key=lambda one: (str(one[1].identity.get("hand")), one[1].item_no))
    pieces = tuple(facts for _answer, facts in ordered)
    answers = tuple(answer for answer, _facts in ordered)
    good = whole and all(answer.verdict == GOOD for answer in answers)
    gives = gives_once_issued(pieces, rules, on=as_of) if good else None
    return Pair(pieces, answers, as_of, gives, whole)


def gives_once_issued(pieces: Sequence[ItemFacts], rules: Rules, *, on: date) -> date | None:
    """The last good day of a pair that is issued on a day, by the entry that the issue would make.

    A piece that was never issued changes its clock with its first issue. None where it would not be good then, or
    nothing would date it.
    """
    then = [fold.after(one, _issue(on)) for one in pieces]
    days = []
    for place, one in enumerate(then):
        mates = [*then[:place], *then[place + 1 :]]
        answer = readiness.decide(one, rules, as_of=on, mates=mates)
        if answer.verdict != GOOD or answer.good_through is None:
            return None
        days.append(answer.good_through)
    return min(days)


def _issue(on: date) -> Line:
    noon = datetime.combine(on, time(12), UTC)
    return Line(UUID(int=0), "issued", noon, on, noon, "", {"v": VERSION, "holder": _SOMEBODY})


def days_once_issued(pieces: Iterable[ItemFacts], rules: Rules, *, on: date) -> int | None:
    """Days from `on` to the earliest last good day of pieces that are issued then; None where nothing dates one.

    For pieces of any kind, alone or in a set. Says nothing of what else is against them.
    """
    running = [readiness.running_clocks(fold.after(one, _issue(on)), rules) for one in pieces]
    if not running or not all(running):
        return None
    return (min(clocks[0].good_through for clocks in running) - on).days


def can_be_offered(pair: Pair) -> bool:
    """Whether a pair may be taken from its shelf and handed out today; a visitor's is never handed to anyone else."""
    ours = not any(facts.owner for facts in pair.pieces)
    return ours and pair.good and pair.both_hands and pair.together and pair.holder.get("kind") == "shelf"


def first_to_expire(offers: Iterable[Pair], *, floor: int, depot: str | None = None) -> list[Pair]:
    """Pairs that give at least `floor` days, the first to expire first: what would be wasted last goes out last.

    With a depot named, pairs that lie there come before all others. Common practice, no source.
    """
    enough = [one for one in offers if one.days is None or one.days >= floor]
    return sorted(
        enough, key=lambda one: (depot is not None and one.depot != depot, one.gives or date.max, one.name)
    )


def differing(one: Mapping[str, Any], other: Mapping[str, Any]) -> tuple[str, ...]:
    """The fields of FITTING in which two pieces differ; what only one of them states differs."""
    return tuple(name for name in FITTING if (one.get(name) or None) != (other.get(name) or None))


def nearest(present: Sequence[Pair], new: Mapping[str, Any]) -> list[Pair]:
    """Pairs of the same kind as `new`, the likest first, among equals the one that is out of date first."""
    same = [one for one in present if one.identity.get("kind") == new.get("kind")]
    return sorted(
        same,
        key=lambda one: (
            [name in differing(one.identity, new) for name in FITTING],
            one.good,
            one.good_through or date.min,
            one.name,
        ),
    )


# Single pieces


def is_odd(facts: ItemFacts, mates: Sequence[ItemFacts]) -> bool:
    """Whether a glove or sleeve has no mate that could ever be one again: none, gone for ever, or lost."""
    if facts.kind not in HANDED or facts.condition in GONE:
        return False
    opposite = [one for one in mates if one.identity.get("hand") != facts.identity.get("hand")]
    return all(one.condition in GONE for one in opposite)


def mirrored(facts: ItemFacts) -> ItemFacts:
    """The other hand of a piece, alike in everything else: a mate that has nothing against it of its own."""
    other = {"L": "R", "R": "L"}[facts.identity["hand"]]
    return replace(facts, item_no=f"{facts.item_no} ({other})", identity={**facts.identity, "hand": other})


def group_of(identity: Mapping[str, Any]) -> tuple[str, ...]:
    """What pieces must share to be proposed as a pair, each as text."""
    return tuple(str(identity.get(name) or "") for name in MATED_BY)


@dataclass(frozen=True)
class Single:
    """A piece that may be mated: the last day that it would give, as one hand of a pair."""

    item_no: str
    hand: str
    gives: date
    group: tuple[str, ...] = ()


def best_matings(singles: Iterable[Single]) -> list[tuple[Single, Single]]:
    """As many (left, right) as can be made within each group, and of those choices the most days together.

    A pair gives as long as its shorter hand. Within a group everything fits everything, so the longest left goes
    with the longest right, the second with the second, and so on: no exchange of two hands gives more days in sum.
    """
    groups: dict[tuple[str, ...], dict[str, list[Single]]] = {}
    for one in singles:
        groups.setdefault(one.group, {}).setdefault(one.hand, []).append(one)
    made = []
    for _group, hands in sorted(groups.items()):
        lefts, rights = (_longest_first(hands.get(hand, [])) for hand in ("L", "R"))
        made += list(zip(lefts, rights, strict=False))
    return made


def _longest_first(singles: Iterable[Single]) -> list[Single]:
    return sorted(singles, key=lambda one: (-one.gives.toordinal(), one.item_no))
