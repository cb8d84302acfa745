"""What a job check reads: what a truck and its crew have, what lies elsewhere, and what was told before."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db.models import Q, QuerySet

from gear import queries
from gear.ledger import site_zone
from gear.models import Holder, Item
from gear.queries.fleet import fleet_under
from gear.queries.kits import needs
from gear.queries.questions import Question
from gear.rules import pairs
from gear.rules.fold import ItemFacts
from gear.rules.readiness import HANDED, Answer, Rules
from inspections.models import JobCheck, TruckRecord
from inspections.rules.job import Checked, Job, Thing, Want
from inspections.rules.job_check import Crewed, check, offered
from inspections.rules.job_people import Person
from inspections.rules.job_truck import TruckFacts

_LENDERS = ("shelf", "truck", "crew")
_CARRIED = ("glove", "sleeve", "protector")


@dataclass(frozen=True)
class Member:
    """One of a truck's crew: the person as a holder, and the size of gloves that they have."""

    holder: Holder
    size: str


def trucks() -> QuerySet[Holder]:
    """The trucks in use, by name."""
    found = Holder.objects.filter(kind="truck", active=True)
    return found.select_related("crew__depot", "depot").order_by("name")


def members_of(truck: Holder, asked: Question) -> list[Member]:
    """The people of a truck's crew with the size of the gloves of the highest class that each has."""
    if truck.crew_id is None:
        return []
    here = Q(person__crew=truck.crew) | Q(person__crew__isnull=True, crew=truck.crew)
    people = Holder.objects.filter(here, kind="person", active=True).exclude(person__is_active=False)
    people = people.order_by("name")
    sizes: dict[int, tuple[tuple[int, str], str]] = {}
    held = Item.objects.filter(state__holder__in=people, item_type__kind="glove").order_by("item_no")
    for holder, cls, size in held.values_list("state__holder", "item_type__cls", "item_type__size"):
        rank = (len(cls) != 2, cls)  # class 00 is the lowest
        if size and (holder not in sizes or rank > sizes[holder][0]):
            sizes[holder] = (rank, size)
    return [Member(one, sizes[one.pk][1] if one.pk in sizes else "") for one in people]


def truck_facts(truck: Holder) -> TruckFacts:
    """What the newest record of a truck says."""
    row = records_of(truck).first()
    if row is None:
        return TruckFacts(truck.name)
    return TruckFacts(
        truck.name,
        True,
        row.insulated,
        row.boom_rated_v,
        row.boom_good_through,
        row.has_liner,
        row.liner_good_through,
    )


def records_of(truck: Holder) -> QuerySet[TruckRecord]:
    """Everything that was entered about a truck, the newest first."""
    return TruckRecord.objects.filter(truck=truck).select_related("by").order_by("-at", "-pk")


def newest_records() -> dict[int, TruckRecord]:
    """The newest record of each truck, by the key of the truck."""
    return {row.truck_id: row for row in TruckRecord.objects.order_by("at", "pk")}


def aboard(truck: Holder, asked: Question, *, then: date | None) -> list[Thing]:
    """Everything that is recorded with a truck, each pair and set as one, by kind and number."""
    return things_in(Item.objects.filter(state__holder=truck), asked, then=then)


def check_job(
    job: Job, truck: Holder | None, crew: Sequence[Member], left_out: Iterable[str], asked: Question
) -> Checked:
    """Judge a job as the record stands. The number of queries does not grow with what there is."""
    rules = queries.rules_for(asked)
    then = job.back_by if job.back_by and job.back_by >= asked.as_of else None
    mine = Q(state__holder=truck) if truck else Q(pk__in=[])
    theirs = Q(state__holder__in=[one.holder for one in crew], item_type__kind__in=_CARRIED)
    found = things_in(Item.objects.filter(mine | theirs), asked, then=then)
    people = [
        Person(one.holder.name, one.size, tuple(_with(found, "person", one.holder.name))) for one in crew
    ]
    loaded = tuple(_with(found, "truck", truck.name)) if truck else ()
    facts = truck_facts(truck) if truck else None
    crewed = Crewed(facts, loaded, tuple(people), frozenset(left_out))
    told = check(job, crewed, needs(), rules, as_of=asked.as_of)
    if truck is None or rules.pack is None:
        return told
    elsewhere = things_in(_wanted(told), asked, then=then)
    place = {"truck": truck.name, "crew": truck.crew.name if truck.crew else "", "depot": _depot(truck)}
    return offered(told, elsewhere, job, rules, **place)


def _with(found: Iterable[Thing], kind: str, name: str) -> list[Thing]:
    return [one for one in found if one.holder.get("kind") == kind and one.holder.get("name") == name]


def _depot(truck: Holder) -> str:
    depot = truck.depot or (truck.crew.depot if truck.crew else None)
    return depot.name if depot else ""


def _wanted(told: Checked) -> QuerySet[Item]:
    """What lies on shelves, trucks and in cages of the kinds and classes that are wanted."""
    wants: set[Want] = {one.want for one in told.findings if one.want}
    fits = Q(pk__in=[])
    for want in wants:
        one = Q(item_type__kind=want.kind)
        if want.classes is not None:
            one &= Q(item_type__cls__in=want.classes)
        if want.kind == "glove":
            one &= Q(item_type__size=want.size)
        fits |= one
    return Item.objects.filter(fits, state__holder__kind__in=_LENDERS, state__holder__active=True)


def things_in(items: QuerySet[Item], asked: Question, *, then: date | None) -> list[Thing]:
    """The items as things, each with its answers of today and of the day `then`, by kind and number.

    A pair or set is one thing with each holder that has some of it; it is whole where one has all of it.
    """
    wanted = set(items.values_list("item_no", flat=True))
    rules = queries.rules_for(asked)
    later: dict[str, Answer] = {}
    if then is not None:
        on_return = queries.question(then)
        told = fleet_under(on_return, [queries.rules_for(on_return)], items=items)
        later = {facts.item_no: answers[0] for answers, facts in told}
    members: dict[str, int] = {}
    grouped: dict[tuple[str, str, str], list[tuple[ItemFacts, Answer]]] = {}
    for answers, facts in fleet_under(asked, [rules], items=items):
        key = facts.set_no or f"item:{facts.item_no}"
        members[key] = members.get(key, 0) + 1
        holder = facts.holder or {}
        if facts.item_no in wanted:
            place = (key, str(holder.get("kind")), str(holder.get("name")))
            grouped.setdefault(place, []).append((facts, answers[0]))
    found = [
        _thing(pieces, later, rules, asked, whole=len(pieces) == members[key])
        for (key, _kind, _name), pieces in grouped.items()
    ]
    return sorted(found, key=lambda one: (one.kind, one.name))


def _thing(
    told: list[tuple[ItemFacts, Answer]],
    later: Mapping[str, Answer],
    rules: Rules,
    asked: Question,
    *,
    whole: bool,
) -> Thing:
    ordered = sorted(told, key=lambda one: one[0].item_no)
    pieces = tuple(facts for facts, _answer in ordered)
    then = tuple(later[one.item_no] for one in pieces if one.item_no in later)
    gives = None
    if pieces[0].kind in HANDED and not any(one.issued for one in pieces):
        gives = _gives(pieces, rules, asked.as_of)
    return Thing(pieces, tuple(answer for _facts, answer in ordered), then, whole, gives)


def _gives(pieces: tuple[ItemFacts, ...], rules: Rules, today: date) -> date | None:
    """The last good day of a pair that is issued today; before today where its issue would put it out of date."""
    days = pairs.days_once_issued(pieces, rules, on=today)
    return None if days is None else today + timedelta(days=days)


def checks_of(truck: Holder) -> QuerySet[JobCheck]:
    """The job checks of a truck, the newest first."""
    return JobCheck.objects.filter(truck=truck).select_related("by").order_by("-at", "-pk")


def job_check_of(truck: Holder, on: date) -> JobCheck | None:
    """The job check that speaks for a truck on a day: the newest made until then whose back-by day is not past.

    None where none was made. Its findings keep item numbers and last good days.
    """
    end = datetime.combine(on + timedelta(days=1), time(), site_zone())
    found = checks_of(truck).filter(as_of__lte=on, at__lt=end)
    return found.filter(Q(back_by__gte=on) | Q(back_by__isnull=True, as_of=on)).first()
