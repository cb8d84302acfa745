"""What was found by eye on pieces of a kind, corrections applied: what a page of patterns counts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Q

from gear.ledger import line_of
from gear.models import Entry, Item
from gear.rules.correcting import corrected
from gear.rules.fold import Line
from gear.rules.patterns import Finding

FOUND = ("clean", "test", "reject")  # outcomes of a look that found something


@dataclass(frozen=True)
class Wanted:
    """Which findings are counted: a kind, and where they are given a model, a lot and days from .. through."""

    kind: str
    model: str = ""
    lot: str = ""
    first: date | None = None
    last: date | None = None

    def covers(self, day: date) -> bool:
        return (self.first is None or self.first <= day) and (self.last is None or day <= self.last)


@dataclass(frozen=True)
class Found:
    """One finding with the day on which it was made."""

    finding: Finding
    on: date


def found(wanted: Wanted) -> list[Found]:
    """The findings that count, the newest first. A withdrawn one does not; a corrected one as it was corrected to.

    Three queries at most, however many there are.
    """
    of_kind = {"item__item_type__kind": wanted.kind}
    if wanted.model:
        of_kind["item__item_type__model"] = wanted.model
    if wanted.lot:
        of_kind["item__lot"] = wanted.lot
    about = Entry.objects.filter(**of_kind).select_related("item")
    looks = about.filter(kind="inspected", facts__outcome__in=FOUND)
    if wanted.first:
        looks = looks.filter(occurred_on__gte=wanted.first)
    if wanted.last:
        looks = looks.filter(occurred_on__lte=wanted.last)
    of_looks = Q(corrects__kind="inspected") | Q(facts__replacement__kind="inspected")
    corrections = list(about.filter(of_looks, kind="corrected").select_related("corrects"))
    entries = {entry.pk: entry for entry in looks}
    numbers = {pk: entry.item.item_no for pk, entry in entries.items() if entry.item}
    for correction in corrections:
        if correction.corrects is not None and correction.item is not None:
            entries[correction.corrects.pk] = correction.corrects
            numbers[correction.corrects.pk] = correction.item.item_no
    lines = corrected(map(line_of, [*entries.values(), *corrections]))
    told = [_found(line, numbers[line.id]) for line in lines if _counts(line, wanted)]
    return sorted(told, key=lambda one: (-one.on.toordinal(), one.finding.item_no, one.finding.entry))


def _counts(line: Line, wanted: Wanted) -> bool:
    is_look = line.kind == "inspected" and isinstance(line.facts, Mapping)
    return is_look and line.facts.get("outcome") in FOUND and wanted.covers(line.occurred_on)


def _found(line: Line, item_no: str) -> Found:
    words, place = line.facts.get("words"), line.facts.get("place")
    said = tuple(map(str, words)) if isinstance(words, list) else ()
    return Found(
        Finding(str(line.id), item_no, said, place if isinstance(place, str) else ""), line.occurred_on
    )


def known_of(kind: str) -> dict[str, list[str]]:
    """The models and lots of a kind that are in the book, for choosing from. Two queries."""
    items = Item.objects.filter(item_type__kind=kind)

    def values(column: str) -> list[Any]:
        return list(items.exclude(**{column: ""}).order_by(column).values_list(column, flat=True).distinct())

    return {"model": values("item_type__model"), "lot": values("lot")}
