"""Trucks: the class and list of each, what is on record with it and its crew, and what the walks round it found."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import F, Max, Q, QuerySet, Window
from django.db.models.functions import RowNumber

from gear.models import Depot, Holder, Item, ItemState
from gear.queries import Question, judged
from gear.rules.fold import ItemFacts
from gear.rules.readiness import GOOD, UNKNOWN, Answer
from inspections.models import LoadCheck, LoadList, TruckClass, TruckFitting
from inspections.rules import loadlist
from inspections.rules.loadlist import Aboard, Cover, Found, Line

# Codes of reasons by which a piece is not looked for on a truck although it is on record there.
AWAY = frozenset({"LOST", "DESTROYED"})
MOST_NAMED = 900  # numbers in one question; for more the whole book is read, which is one query as well


def newest_list(of: TruckClass) -> LoadList | None:
    return LoadList.objects.filter(truck_class=of).order_by("-version").first()


def newest_lists(classes: Collection[int] | None = None) -> dict[int, LoadList]:
    """The list in force of each class, by the key of the class, in one query."""
    rows = LoadList.objects.annotate(newest=Max("truck_class__lists__version")).filter(version=F("newest"))
    if classes is not None:
        rows = rows.filter(truck_class__in=classes)
    return {
        row.truck_class_id: row for row in rows.select_related("truck_class").order_by("truck_class__name")
    }


def classes_of(trucks: Iterable[Holder]) -> dict[int, TruckClass]:
    """The class of each of these trucks that has one, by the key of the truck, in one query."""
    newest = Window(RowNumber(), partition_by=F("truck"), order_by=[F("at").desc(), F("pk").desc()])
    rows = TruckFitting.objects.filter(truck__in=list(trucks)).annotate(place=newest)
    rows = rows.filter(place=1).select_related("truck_class")
    return {row.truck_id: row.truck_class for row in rows if row.truck_class is not None}


def list_of(truck: Holder) -> LoadList | None:
    """The load list that counts for a truck; None where it has no class."""
    found = classes_of([truck]).get(truck.pk)
    return newest_list(found) if found else None


def trucks(depot: Depot | None = None) -> QuerySet[Holder]:
    """Trucks in use, of a depot or all, by name."""
    rows = Holder.objects.filter(kind="truck", active=True).select_related("crew", "depot")
    if depot is not None:
        rows = rows.filter(Q(depot=depot) | Q(depot__isnull=True, crew__depot=depot))
    return rows.order_by("name")


def crew_people(truck: Holder) -> QuerySet[Holder]:
    """The people of the crew of a truck to whom gear may be issued, by name."""
    people = Holder.objects.filter(kind="person", active=True, crew=truck.crew, crew__isnull=False)
    return people.select_related("crew", "depot").order_by("name")


@dataclass(frozen=True)
class OnRecord:
    """One piece on record with a truck or with one of its people."""

    answer: Answer
    facts: ItemFacts

    @property
    def item_no(self) -> str:
        return self.facts.item_no

    @property
    def expected(self) -> bool:
        """Whether a walk looks for it: not where it is reported lost or was destroyed."""
        return not any(reason.code in AWAY for reason in self.answer.reasons)

    @property
    def holder(self) -> str:
        return str((self.facts.holder or {}).get("name", ""))

    @property
    def last_day(self) -> date | None:
        return last_day(self.answer)


def on_record(truck: Holder, *, people: Iterable[Holder] = (), asked: Question) -> list[OnRecord]:
    """Everything with the truck and with these people, the truck's first, in a constant number of queries."""
    holders = [truck, *people]
    items = Item.objects.filter(state__holder__in=holders)
    rows = [OnRecord(*told) for told in judged(items.order_by("item_type__kind", "item_no", "pk"), asked)]
    return sorted(
        rows, key=lambda one: (one.holder != truck.name, one.holder if one.holder != truck.name else "")
    )


def last_day(answer: Answer) -> date | None:
    """The earlier of an item's own last good day and its set's; None where nothing dates it."""
    days = [day for day in (answer.good_through, answer.set_good_through) if day]
    return min(days) if days else None


def covers(lines: Sequence[Line], rows: Sequence[OnRecord], *, back_on: date) -> list[Cover]:
    """How far what is on record, and good through the day of return, fills a list."""
    members = members_of(row.facts.set_no for row in rows)
    counting = [
        Aboard(
            row.item_no,
            row.facts.identity,
            row.facts.set_no,
            members.get(row.facts.set_no or "", frozenset({row.item_no})),
        )
        for row in rows
        if Found(row.item_no, loadlist.SEEN, row.answer.verdict, row.last_day).counts(back_on)
    ]
    return loadlist.covered(lines, counting)


def counting(item_nos: Sequence[str]) -> list[Aboard]:
    """These pieces as a load list counts them, by what is on record of them now; each once, in three queries."""
    identities = marked(item_nos)
    rows = ItemState.objects.filter(item__item_no__in=list(identities))
    found = {
        number: (hand, set_no)
        for number, hand, set_no in rows.values_list("item__item_no", "item__hand", "gear_set__set_no")
    }
    members = members_of(set_no for _hand, set_no in found.values())
    return [
        Aboard(
            number,
            {**identities[number], "hand": hand},
            set_no,
            members.get(set_no or "", frozenset({number})),
        )
        for number, (hand, set_no) in found.items()
    ]


def members_of(sets: Iterable[str | None]) -> dict[str, frozenset[str]]:
    """The numbers of all pieces of each of these sets, wherever they are, in one query."""
    found: dict[str, set[str]] = {}
    wanted = sorted({one for one in sets if one})
    rows = ItemState.objects.filter(gear_set__set_no__in=wanted).order_by("item__item_no")
    for set_no, item_no in rows.values_list("gear_set__set_no", "item__item_no"):
        found.setdefault(set_no, set()).add(item_no)
    return {set_no: frozenset(numbers) for set_no, numbers in found.items()}


# What walks found
def load_checks(truck: Holder | None = None) -> QuerySet[LoadCheck]:
    """Walks, the newest first."""
    rows = LoadCheck.objects.select_related("truck", "by", "load_list__truck_class")
    if truck is not None:
        rows = rows.filter(truck=truck)
    return rows.order_by("-finished_at", "-pk")


def last_walks(of: Iterable[Holder] | None = None) -> dict[int, LoadCheck]:
    """The newest walk round each truck, by the key of the truck, in one query."""
    return newest_of(LoadCheck.objects.all() if of is None else LoadCheck.objects.filter(truck__in=list(of)))


def newest_of(rows: QuerySet[LoadCheck]) -> dict[int, LoadCheck]:
    """Of these walks the newest round each truck, by the key of the truck, in one query."""
    newest = Window(RowNumber(), partition_by=F("truck"), order_by=[F("finished_at").desc(), F("pk").desc()])
    rows = rows.annotate(place=newest).filter(place=1).select_related("truck__crew", "truck__depot", "by")
    return {row.truck_id: row for row in rows}


@dataclass(frozen=True)
class Missing:
    """A piece that the newest walk of its truck looked for and did not see, and that is on record there still."""

    item_no: str
    truck: Holder
    check: LoadCheck


def missing_from_last_walk(of: Iterable[Holder] | None = None) -> list[Missing]:
    """What nobody saw at the newest walk of each truck, by truck and number, in two queries.

    A piece that was moved elsewhere since, or was given to somebody else, is not missing any more.
    """
    not_seen = unseen(last_walks(of).values())
    numbers = {number for number, _check in not_seen}
    there = dict(Item.objects.filter(item_no__in=numbers).values_list("item_no", "state__holder__name"))
    found = [
        Missing(number, check.truck, check)
        for number, check in not_seen
        if there.get(number) in {check.truck.name, *check.crew}
    ]
    return sorted(found, key=lambda one: (one.truck.name, one.item_no))


def unseen(walks: Iterable[LoadCheck]) -> list[tuple[str, LoadCheck]]:
    """(number, walk) of every piece that these walks looked for and did not see, each once."""
    found = {
        (str(piece["no"]), check.pk): check
        for check in walks
        for piece in check.pieces
        if piece["state"] == loadlist.NOT_SEEN
    }
    return [(number, check) for (number, _pk), check in found.items()]


def found_in(piece: Mapping[str, Any]) -> Found:
    """A kept piece of a walk as the rules read it."""
    through = piece.get("good_through")
    return Found(
        piece.get("no") or "",
        piece["state"],
        piece.get("verdict") or UNKNOWN,
        date.fromisoformat(through) if through else None,
        bool(piece.get("taken")),
    )


@dataclass(frozen=True)
class Turned:
    """A piece of which the server says worse than the phone told: its number, what it told, and what it says."""

    item_no: str
    told_through: date | None
    verdict: str
    good_through: date | None
    reasons: tuple[str, ...]


def turned(check: LoadCheck) -> list[Turned]:
    """Where the server's answer at the arrival of a walk speaks against what the phone had told."""
    rows = []
    for piece in check.pieces:
        said = check.arrived.get("pieces", {}).get(piece.get("no"))
        if said is None:
            continue
        told = found_in(piece)
        through = date.fromisoformat(said["good_through"]) if said["good_through"] else None
        if loadlist.worse(told, said["verdict"], through, back_on=check.back_on):
            rows.append(
                Turned(told.item_no, told.good_through, said["verdict"], through, tuple(said["reasons"]))
            )
    return rows


# For the phone
def marked(item_nos: Sequence[str]) -> dict[str, dict[str, Any]]:
    """What a load list asks of each of these pieces: kind, class, size, length and cable, by number, in one query."""
    wanted = set(item_nos)
    rows = Item.objects.select_related("item_type").only("item_no", "item_type")
    if len(wanted) < MOST_NAMED:
        rows = rows.filter(item_no__in=wanted)
    return {
        one.item_no: {
            "kind": one.item_type.kind,
            "class": one.item_type.cls,
            "size": one.item_type.size,
            "length_mm": one.item_type.length_mm,
            "cable_size": one.item_type.cable_size,
        }
        for one in rows
        if one.item_no in wanted
    }


def trucks_for_phone(
    rows: Iterable[Holder], identities: Mapping[str, Mapping[str, Any]]
) -> list[dict[str, Any]]:
    """The trucks of a bundle, each with the list of its class. `identities` are of every piece in the bundle.

    {"name", "crew", "depot", "class", "list": {"class", "version", "lines": [{"words", "unit", "count", "fits"}]}};
    `fits` are the numbers of the pieces that the line takes, so that a phone only counts. Two queries.
    """
    from inspections.queries.load_words import line_words

    wanted = list(rows)
    classes = classes_of(wanted)
    lists = newest_lists({one.pk for one in classes.values()})
    stated: dict[int, dict[str, Any]] = {}
    for pk, row in lists.items():
        lines = loadlist.from_json(row.lines)
        stated[pk] = {
            "class": row.truck_class.name,
            "version": row.version,
            "lines": [
                {
                    "words": line_words(line),
                    "unit": line.unit,
                    "count": line.count,
                    "fits": sorted(no for no, identity in identities.items() if line.takes(identity)),
                }
                for line in lines
            ],
        }
    return [
        {
            "name": one.name,
            "crew": one.crew.name if one.crew else None,
            "depot": one.depot.name if one.depot else None,
            "class": classes[one.pk].name if one.pk in classes else None,
            "list": stated.get(classes[one.pk].pk) if one.pk in classes else None,
        }
        for one in wanted
    ]


__all__ = [
    "AWAY",
    "GOOD",
    "Missing",
    "OnRecord",
    "Turned",
    "classes_of",
    "covers",
    "crew_people",
    "found_in",
    "last_day",
    "last_walks",
    "list_of",
    "load_checks",
    "marked",
    "missing_from_last_walk",
    "newest_list",
    "newest_lists",
    "on_record",
    "trucks",
    "trucks_for_phone",
    "turned",
]
