"""What the roster reads: who is there, what of theirs lasts, and what lies on shelves."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

from django.db.models import Q

from gear import queries
from gear.models import Holder, Item
from gear.queries import Question
from gear.queries.kits import needs, people_in_kit
from gear.queries.whereabouts import places
from gear.rules.packs import RulePack
from gear.rules.readiness import HANDED
from gear.rules.whereabouts import place_of
from inspections.queries.jobs import things_in
from inspections.rules.job import Job, Thing, fault_of
from reports.rules.overdue import Scope
from reports.rules.roster import Asked, Held, Person, Roster, asked_of, roster


def roster_of(
    asked: Question, *, days: int, cls: str, truck: Holder | None, scope: Scope
) -> tuple[Roster, tuple[Asked, ...]]:
    """Who is clear from now through so many days ahead, in a constant number of queries.

    With a truck named, its crew alone. Shelves of every depot count, or those of the depot of whoever asks. Nobody is
    clear where the rules cannot be read.
    """
    pack: RulePack | None = queries.rules_for(asked).pack
    if pack is None:
        return Roster((), frozenset(), 0, 0), ()
    lines = asked_of(needs(), cls, pack)
    kinds = sorted({line.kind for line in lines})
    last = asked.as_of + timedelta(days=days)
    where = places()
    holders = people_in_kit().order_by("crew__name", "name")
    if truck is not None:
        holders = holders.filter(crew=truck.crew) if truck.crew_id else holders.none()
    known = [(one, place_of(one.as_fact(), where)) for one in holders]
    people = [(one, place) for one, place in known if scope.covers(place)]
    theirs = Q(state__holder__in=[one for one, _place in people])
    shelves = Q(state__holder__kind="shelf", state__holder__active=True)
    things = things_in(Item.objects.filter(theirs | shelves, item_type__kind__in=kinds), asked, then=last)
    by_holder: dict[tuple[str, str], list[Thing]] = {}
    for thing in things:
        by_holder.setdefault((str(thing.holder.get("kind")), str(thing.holder.get("name"))), []).append(thing)
    crew = [
        _person(one.name, place.crew or "", place.depot or "", by_holder.get(("person", one.name), []), last)
        for one, place in people
    ]
    stock = [
        thing
        for (kind, _name), found in by_holder.items()
        if kind == "shelf"
        for thing in found
        if scope.covers(place_of(thing.holder, where)) and not thing.owned
    ]
    return roster(crew, _lasting(stock, last), lines), lines


def _person(name: str, crew: str, depot: str, things: Iterable[Thing], last: object) -> Person:
    held = list(things)
    gloves = [one for one in held if one.kind == "glove" and one.size]
    size = (
        max(gloves, key=lambda one: (len(one.cls) != 2, one.cls)).size if gloves else ""
    )  # 00 is the lowest
    return Person(name, crew, depot, size, tuple(_lasting(held, last)))


def _lasting(things: Iterable[Thing], last: object) -> list[Held]:
    """What is good from today through the last day: whole pairs, and single pieces of other kinds."""
    until = Job(back_by=last)  # type: ignore[arg-type]
    return [
        Held(one.kind, one.cls, one.size)
        for one in things
        if (one.kind not in HANDED or len(one.pieces) == 2) and fault_of(one, until, part="people") is None
    ]
