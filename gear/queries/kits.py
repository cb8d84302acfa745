"""Who has what every person is given, and who leaves and still has gear."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import Q, QuerySet

from gear.models import Depot, Holder, Item, KitLine
from gear.queries.fleet import judged
from gear.queries.pairs import in_hands
from gear.queries.questions import Question
from gear.rules.fold import ItemFacts
from gear.rules.kits import SHIPPED, Kit, Need, kit_of
from gear.rules.pairs import Pair
from gear.rules.readiness import HANDED, Answer

_LEAVES = Q(active=False) | Q(person__is_active=False) | Q(leaving_on__isnull=False)


def needs() -> tuple[Need, ...]:
    """The site's own list, or the shipped one where it has none."""
    rows = KitLine.objects.order_by("place", "kind", "cls")
    return tuple(Need(one.kind, one.cls, one.count) for one in rows) or SHIPPED


def people_in_kit(depot: Depot | None = None) -> QuerySet[Holder]:
    """The people to whom gear may be issued and who stay, of a depot or all, by name."""
    people = Holder.objects.filter(kind="person").exclude(_LEAVES).select_related("crew", "depot", "person")
    return _of(people, depot).order_by("name")


def kits(holders: QuerySet[Holder], asked: Question) -> list[tuple[Holder, Kit]]:
    """The kit of each of these people, in their order and a constant number of queries."""
    wanted = needs()
    pairs: dict[str, list[Pair]] = {}
    others: dict[str, list[tuple[Answer, ItemFacts]]] = {}
    everyone = Holder.objects.filter(pk__in=holders.order_by().values("pk"))
    for pair in in_hands(everyone, asked):
        pairs.setdefault(pair.holder["name"], []).append(pair)
    kinds = {need.kind for need in wanted} - HANDED
    pieces = Item.objects.filter(state__holder__in=everyone, item_type__kind__in=kinds).order_by("item_no")
    for answer, facts in judged(pieces, asked) if kinds else ():
        others.setdefault(_name(facts), []).append((answer, facts))
    return [(one, kit_of(wanted, pairs.get(one.name, []), others.get(one.name, []))) for one in holders]


@dataclass(frozen=True)
class Leaver:
    """Somebody who leaves, or has left, with what is still recorded with them, destroyed pieces apart."""

    holder: Holder
    leaving_on: date | None
    pieces: tuple[tuple[Answer, ItemFacts], ...]


def leavers(asked: Question, depot: Depot | None = None) -> list[Leaver]:
    """Everybody who leaves or is deactivated and still has gear, whoever leaves first on top."""
    gone = Holder.objects.filter(_LEAVES, kind="person").select_related("crew", "depot", "person")
    people = _of(gone, depot)
    items = Item.objects.filter(state__holder__in=people.order_by().values("pk")).order_by("item_no")
    held: dict[str, list[tuple[Answer, ItemFacts]]] = {}
    for answer, facts in judged(items, asked):
        if not facts.destroyed:
            held.setdefault(_name(facts), []).append((answer, facts))
    found = [
        Leaver(one, one.leaving_on, tuple(held[one.name]))
        for one in people.order_by("name")
        if one.name in held
    ]
    return sorted(found, key=lambda one: (one.leaving_on or date.min, one.holder.name))


def _of(people: QuerySet[Holder], depot: Depot | None) -> QuerySet[Holder]:
    if depot is None:
        return people
    return people.filter(Q(depot=depot) | Q(depot__isnull=True, crew__depot=depot))


def _name(facts: ItemFacts) -> str:
    return str((facts.holder or {}).get("name"))
