"""Who is due for a change-out, crew by crew, and which pair on which shelf is proposed for each."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from gear.rules.pairs import Pair, differing, first_to_expire
from gear.rules.whereabouts import Place

SHORTEST, USUAL, LONGEST = 0, 14, 180  # days ahead that the list can look


@dataclass(frozen=True)
class Worn:
    """A pair, or the piece that is left of one, in the hands of a person who belongs to a place."""

    pair: Pair
    person: str
    place: Place


@dataclass(frozen=True)
class Row:
    """One change-out. `incoming` is the proposed pair, None where no shelf has one that fits and gives enough."""

    worn: Worn
    incoming: Pair | None

    @property
    def due(self) -> date | None:
        """The last good day of the pair, None where nothing dates it."""
        return self.worn.pair.good_through

    @property
    def days_left(self) -> int | None:
        return (self.due - self.worn.pair.as_of).days if self.due else None


@dataclass(frozen=True)
class Crew:
    """The change-outs of one crew, the most urgent first."""

    place: Place
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class ChangeOut:
    """The whole list. `idle` are the crews with nothing due, `replaced` the pieces left out as replaced already."""

    within: int
    floor: int
    crews: tuple[Crew, ...]
    idle: tuple[str, ...]
    replaced: tuple[str, ...]

    @property
    def count(self) -> int:
        return sum(len(crew.rows) for crew in self.crews)


def is_due(pair: Pair, *, within: int) -> bool:
    """Whether a pair must be changed within so many days: not good now, or its last good day comes by then."""
    if not pair.good or pair.good_through is None:
        return True
    return (pair.good_through - pair.as_of).days <= within


def change_out(
    worn: Iterable[Worn],
    offers: Sequence[Pair],
    *,
    crews: Iterable[str],
    replaced: Collection[str] = (),
    within: int,
    floor: int,
) -> ChangeOut:
    """The list for pairs in people's hands and pairs that lie on shelves.

    Whoever is due first chooses first, each the first to expire that fits in kind, class, size and length and gives
    `floor` days, from the own depot before another; no pair is proposed twice. `crews` are the names of all crews
    concerned, `replaced` the numbers of pieces for which their person has a new pair already.
    """
    in_hands = list(worn)
    due = [
        one for one in in_hands if is_due(one.pair, within=within) and not _is_replaced(one.pair, replaced)
    ]
    rows = list(_proposed(sorted(due, key=_urgency), offers, floor=floor))
    by_crew: dict[Place, list[Row]] = {}
    for row in rows:
        by_crew.setdefault(row.worn.place, []).append(row)
    ordered = sorted(by_crew.items(), key=lambda pair: (*crew_order(pair[0]), pair[0].depot or ""))
    listed = tuple(Crew(place, tuple(found)) for place, found in ordered)
    busy = {crew.place.crew for crew in listed}
    numbers = {piece.item_no for one in in_hands for piece in one.pair.pieces}
    return ChangeOut(
        within,
        floor,
        listed,
        tuple(sorted(set(crews) - busy, key=_natural)),
        tuple(sorted(set(replaced) & numbers)),
    )


def _is_replaced(pair: Pair, replaced: Collection[str]) -> bool:
    return all(piece.item_no in replaced for piece in pair.pieces)


def _urgency(one: Worn) -> tuple:
    """Not good now, then by the last good day; among equals by name, so that the list is the same each time."""
    pair = one.pair
    return (pair.good, pair.good_through or date.min, one.person, pair.name)


def _proposed(due: Sequence[Worn], offers: Sequence[Pair], *, floor: int) -> Iterable[Row]:
    taken: set[str] = set()
    by_fit: dict[tuple, list[Pair]] = {}
    for offer in offers:
        by_fit.setdefault(_fit(offer.identity), []).append(offer)
    for one in due:
        fitting = [
            offer
            for offer in by_fit.get(_fit(one.pair.identity), ())
            if offer.name not in taken and not differing(offer.identity, one.pair.identity)
        ]
        order = first_to_expire(fitting, floor=floor, depot=one.place.depot)
        chosen = order[0] if order else None
        if chosen:
            taken.add(chosen.name)
        yield Row(one, chosen)


def _fit(identity: Mapping) -> tuple:
    return tuple(identity.get(name) for name in ("kind", "class"))


def crew_order(place: Place) -> tuple:
    """Sorting key of places: by crew, what belongs to none last."""
    return (place.crew is None, *_natural(place.crew or ""))


def _natural(name: str) -> tuple[str, int, str]:
    """Crew 2 before crew 10."""
    head = name.rstrip("0123456789")
    digits = name[len(head) :]
    return head, int(digits) if digits else 0, name
