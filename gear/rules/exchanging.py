"""Handing one pair over for another: what may not be done, and what must be said before it is done."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from gear.rules import fold
from gear.rules.correcting import corrected
from gear.rules.entries import USABLE_HOLDERS, Line
from gear.rules.fold import ItemFacts
from gear.rules.moments import FOR_EVER
from gear.rules.pairs import Pair, differing, nearest
from gear.rules.readiness import HANDED

_BY_FIELD = {"class": "CLASS_DIFFERS", "size": "SIZE_DIFFERS", "length_mm": "LENGTH_DIFFERS"}


@dataclass(frozen=True)
class Caution:
    """Something that is not forbidden, but that nobody may pass over: its code, and the values to tell it with."""

    code: str
    values: Mapping[str, Any]

    @property
    def token(self) -> str:
        """What is ticked: this caution with these values, so that a tick never stands for another pair."""
        return "|".join([self.code, *(str(self.values[name]) for name in sorted(self.values))])


def refusal(new: Pair) -> str | None:
    """The code of why a pair cannot be handed out today, or None when it can. The worst first."""
    if new.identity.get("kind") not in HANDED:
        return "NOT_A_PAIR"
    if any((one.holder or {}).get("kind") in USABLE_HOLDERS for one in new.pieces):
        return "PAIR_IN_HANDS"
    if not new.both_hands:
        return "PAIR_NOT_COMPLETE"
    if not new.together:
        return "PAIR_APART"
    return None if new.good else "NOT_GOOD"


def cautions(
    new: Pair,
    *,
    old: Sequence[ItemFacts],
    present: Sequence[Pair],
    person: str,
    floor: int,
    leaving: date | None = None,
) -> tuple[Caution, ...]:
    """What must be confirmed before `new` is handed to `person`, in the order in which it is told.

    `old` are the pieces that it replaces; without any it is compared with the likest of the pairs that the person
    has. A first pair of its kind is compared with nothing. `floor` is the number of days below which what is left
    is too little to pass over.
    """
    found = [] if leaving is None else [Caution("LEAVING", {"day": leaving})]
    likest = nearest(present, new.identity)
    compared = old[0].identity if old else likest[0].identity if likest else new.identity
    for name in differing(compared, new.identity):
        values = {"old": compared.get(name), "new": new.identity.get(name)}
        found.append(Caution(_BY_FIELD.get(name, "KIND_DIFFERS"), values))
    if new.days is None or new.days < floor:
        found.append(Caution("FEW_DAYS", {"days": new.days, "good_through": new.gives, "floor": floor}))
    elsewhere = [one for one in old if not _is_with(one, person)]
    if elsewhere:
        holder = elsewhere[0].holder or {}
        found.append(Caution("OLD_ELSEWHERE", {"item": elsewhere[0].item_no, "holder": holder.get("name")}))
    return tuple(found)


def _is_with(facts: ItemFacts, person: str) -> bool:
    holder = facts.holder or {}
    return (holder.get("kind"), holder.get("name")) == ("person", person)


# Old pairs that stayed out


def replacing(lines: Iterable[Line], *, until: datetime) -> list[Line]:
    """The issues in the place of another pair that count, corrections applied, up to a moment."""
    return [
        line
        for line in corrected(lines)
        if line.kind == "issued"
        and line.occurred_at <= until
        and isinstance(line.facts, Mapping)
        and isinstance(line.facts.get("replaces"), list)
        and isinstance(line.facts.get("holder"), Mapping)
    ]


def still_out(item_no: str, lines: Sequence[Line], issue: Line, *, until: datetime) -> bool:
    """Whether an old piece has been with the person ever since the issue that replaced it.

    `lines` are the entries of the piece. What puts it anywhere later, be it with the same person again, ends it, and
    so does its destruction. What happened at the very moment of the issue belongs to the issue.
    """
    facts = fold.fold(item_no, lines, as_of_at=until, known_at=FOR_EVER)
    holder, to = facts.holder or {}, issue.facts["holder"]
    if facts.destroyed or (holder.get("kind"), holder.get("name")) != (to.get("kind"), to.get("name")):
        return False
    later = [line for line in corrected(lines) if issue.occurred_at < line.occurred_at <= until]
    return not any(isinstance(line.facts, Mapping) and line.facts.get("holder") for line in later)
