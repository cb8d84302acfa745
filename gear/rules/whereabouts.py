"""Where pieces are and whom to call about them: what could be used now first, by crew and holder."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from gear.rules.fold import ItemFacts
from gear.rules.readiness import Answer

MOVING = frozenset({"person", "truck"})


@dataclass(frozen=True)
class Place:
    """The crew and depot that a holder belongs to, by name."""

    crew: str | None = None
    depot: str | None = None


Places = Mapping[tuple[str, str], Place]


def place_of(holder: Mapping[str, Any] | None, places: Places) -> Place:
    """The place of a holder as an entry names it; `places` tells, by (kind, name), where each belongs today.

    People and trucks change crews; of two shelves with one name, the record of the item tells which is meant.
    """
    stated = holder or {}
    kind, name = stated.get("kind"), stated.get("name")
    recorded = Place(stated.get("crew"), stated.get("depot"))
    today = places.get((kind, name), Place()) if kind and name else Place()
    first, second = (today, recorded) if kind in MOVING else (recorded, today)
    return Place(first.crew or second.crew, first.depot or second.depot)


@dataclass(frozen=True)
class Found:
    """One piece where it is now. `about` is what a list has to say of it besides, for example a test."""

    answer: Answer
    facts: ItemFacts
    place: Place = Place()
    about: Any = None

    @property
    def item_no(self) -> str:
        return self.answer.item_no

    @property
    def usable(self) -> bool:
        """Whether somebody could pick it up and use it."""
        return self.facts.usable

    @property
    def can_be_held(self) -> bool:
        """Whether a hold would say anything: not of what was destroyed, nor where no record can be read at all."""
        return not self.facts.destroyed and self.facts.unreadable != ["state"]

    @property
    def holder(self) -> tuple[str, str]:
        """(kind, name) of whoever or whatever has it; empty where the record does not say."""
        stated = self.facts.holder or {}
        return stated.get("kind") or "", stated.get("name") or ""


@dataclass(frozen=True)
class HolderGroup:
    """What one holder has, in order of item number."""

    kind: str
    name: str
    pieces: tuple[Found, ...]


@dataclass(frozen=True)
class CrewGroup:
    """What the holders of one crew of a depot have, whoever has most first."""

    place: Place
    holders: tuple[HolderGroup, ...]

    @property
    def count(self) -> int:
        return sum(len(holder.pieces) for holder in self.holders)


def by_crew(pieces: Iterable[Found]) -> tuple[CrewGroup, ...]:
    """The pieces by crew and holder: the crew with most of them first, whoever belongs to no crew last."""
    crews: dict[Place, dict[tuple[str, str], list[Found]]] = {}
    for piece in sorted(pieces, key=lambda one: one.item_no):
        crews.setdefault(piece.place, {}).setdefault(piece.holder, []).append(piece)
    groups = [
        CrewGroup(
            place,
            tuple(
                HolderGroup(kind, name, tuple(had))
                for (kind, name), had in sorted(holders.items(), key=lambda pair: (-len(pair[1]), pair[0]))
            ),
        )
        for place, holders in crews.items()
    ]
    return tuple(sorted(groups, key=_most_first))


def _most_first(group: CrewGroup) -> tuple[bool, int, str, str]:
    return group.place.crew is None, -group.count, group.place.crew or "", group.place.depot or ""
