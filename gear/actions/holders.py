"""Find or make the depots, crews and holders that a gear book names."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from gear.ledger.states import batches
from gear.models import Crew, Depot, Holder
from gear.rules.gearbook import GearRow
from gear.rules.tables import Problem

WAITING_KIND = "shelf"
LONGEST = 80


@dataclass(frozen=True)
class Place:
    """A holder as a line of the book states it; a blank crew or depot is "not stated"."""

    kind: str
    name: str
    crew: str | None = None
    depot: str | None = None

    @property
    def key(self) -> tuple[str, str]:
        return (self.kind, self.name)

    def as_fact(self) -> dict[str, str | None]:
        """What an entry says of the holder."""
        return {"kind": self.kind, "name": self.name, "crew": self.crew, "depot": self.depot}


def stated_place(row: GearRow) -> Place:
    """Where the line says that the item is."""
    return Place(row.holder_kind, row.holder, row.crew, row.depot)


def waiting_place(row: GearRow) -> Place:
    """The shelf on which the item was before it was issued: the stated one, else the tool room of its depot."""
    if row.holder_kind == WAITING_KIND:
        return stated_place(row)
    return Place(WAITING_KIND, tool_room_of(row.depot), None, row.depot)


def tool_room_of(depot: str | None) -> str:
    """The name of the shelf where gear of a depot waits when no shelf is named.

    Not translated: it stands in the record, where one place has one name whoever brings a book in.
    """
    return f"Tool room, {depot}"[:LONGEST] if depot else "Tool room"


@dataclass(frozen=True)
class Found:
    """What the places of a file mean in this installation: rows that are there, and names that are not."""

    depots: Mapping[str, Depot]
    crews: Mapping[str, Crew]
    holders: Mapping[tuple[str, str], Holder]


def look_up(places: Iterable[Place]) -> Found:
    """The depots, crews and holders among these that exist."""
    places = list(places)
    names = {place.name for place in places}
    wanted = {place.key for place in places}
    return Found(
        _by_name(Depot, {place.depot for place in places if place.depot}),
        _by_name(Crew, {place.crew for place in places if place.crew}),
        {
            (holder.kind, holder.name): holder
            for batch in batches(sorted(names))
            for holder in Holder.objects.filter(name__in=batch).select_related("crew", "depot")
            if (holder.kind, holder.name) in wanted
        },
    )


def _by_name(model: type, names: set[str]) -> dict:
    return {
        row.name: row
        for batch in batches(sorted(names))
        for row in model.objects.filter(name__in=batch)  # type: ignore[attr-defined]
    }


def missing(places: Iterable[Place]) -> dict[str, tuple[str, ...]]:
    """The names that `find_or_make` would make: depots, crews, holders (as "kind name")."""
    places = list(places)
    found = look_up(places)
    return {
        "depots": _sorted(place.depot for place in places if place.depot and place.depot not in found.depots),
        "crews": _sorted(place.crew for place in places if place.crew and place.crew not in found.crews),
        "holders": _sorted(
            f"{place.kind} {place.name}" for place in places if place.key not in found.holders
        ),
    }


def _sorted(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(sorted(set(names)))


def find_or_make(places: Iterable[Place]) -> None:
    """Make what is missing. A crew gets the first depot, a holder the first crew and depot, that a line states for it.

    Whoever makes the same at the same moment is not in the way: the row that is there counts.
    """
    places = list(places)
    found = look_up(places)
    depots = {place.depot for place in places if place.depot} - found.depots.keys()
    Depot.objects.bulk_create(
        [Depot(name=name) for name in sorted(depots)], ignore_conflicts=True, batch_size=500
    )
    known = _by_name(Depot, {place.depot for place in places if place.depot})
    crews: dict[str, str | None] = {}
    for place in places:
        if place.crew and place.crew not in found.crews:
            crews[place.crew] = crews.get(place.crew) or place.depot
    Crew.objects.bulk_create(
        [Crew(name=name, depot=known.get(depot or "")) for name, depot in sorted(crews.items())],
        ignore_conflicts=True,
        batch_size=500,
    )
    crew_rows = _by_name(Crew, {place.crew for place in places if place.crew})
    first: dict[tuple[str, str], Place] = {}
    for place in places:
        if place.key not in found.holders:
            before = first.get(place.key, place)
            first[place.key] = Place(*place.key, before.crew or place.crew, before.depot or place.depot)
    Holder.objects.bulk_create(
        [
            Holder(
                kind=one.kind,
                name=one.name,
                crew=crew_rows.get(one.crew or ""),
                depot=known.get(one.depot or ""),
            )
            for _key, one in sorted(first.items())
        ],
        ignore_conflicts=True,
        batch_size=500,
    )


def elsewhere(rows: Sequence[GearRow]) -> Iterator[Problem]:
    """A note for every line whose holder stands with another crew or depot in the book or on an earlier line."""
    found = look_up(stated_place(row) for row in rows)
    known = {
        key: (holder.crew.name if holder.crew else None, holder.depot.name if holder.depot else None)
        for key, holder in found.holders.items()
    }
    for row in rows:
        place = stated_place(row)
        crew, depot = known.get(place.key, (None, None))
        known[place.key] = (crew or place.crew, depot or place.depot)
        for field, before, now in (("crew", crew, place.crew), ("depot", depot, place.depot)):
            if before and now and before != now:
                yield Problem(row.line, "HOLDER_ELSEWHERE", {"field": field, "shown": now, "other": before})
