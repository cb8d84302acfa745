"""Mappings of labs, the files that were read through them, and what the book knows of the pieces in a file."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import F, Window
from django.db.models.functions import RowNumber

from gear.ledger.states import batches
from gear.models import ItemState
from gear.rules import fold
from gear.rules.entries import UNREADABLE
from gear.rules.fold import ItemFacts
from inspections.models import LabFile, LabMapping, Shipment, ShipmentLine

SHOWN = 20


def mappings() -> list[LabMapping]:
    """The newest version of every mapping, by name."""
    newest = Window(RowNumber(), partition_by=F("name"), order_by=F("version").desc())
    rows = LabMapping.objects.annotate(place=newest).filter(place=1).select_related("lab", "made_by")
    return list(rows.order_by("name"))


def versions(name: str) -> list[LabMapping]:
    """Every version of a mapping, the newest first."""
    return list(LabMapping.objects.filter(name=name).select_related("lab", "made_by").order_by("-version"))


def lab_files() -> list[LabFile]:
    """The lab files brought in last, without their content."""
    rows = LabFile.objects.select_related("file", "file__by", "mapping", "mapping__lab", "shipment")
    return list(rows.defer("file__content").order_by("-file__at", "-pk")[:SHOWN])


def open_shipments() -> list[Shipment]:
    """Shipments that a result file may be about: with a lab, the last sent first, then the last closed."""
    rows = Shipment.objects.filter(sent_at__isnull=False).select_related("lab")
    return sorted(rows.order_by("-sent_at", "-pk")[:60], key=lambda one: one.state == "closed")


@dataclass(frozen=True)
class Known:
    """What the book says of one piece: its facts, and the day of the last test of any outcome."""

    facts: ItemFacts
    last_test_on: date | None


def known_pieces(item_nos: Iterable[str]) -> dict[str, Known]:
    """By item number, for those that are in the book and can be read; one query a batch."""
    found = {}
    for batch in batches(sorted(set(item_nos))):
        states = ItemState.objects.filter(item__item_no__in=batch).values_list("item__item_no", "facts")
        for item_no, stored in states:
            try:
                facts = fold.from_json(stored)
            except UNREADABLE:
                continue
            tests = [one.on for one in (facts.accepted, facts.unjudged, facts.void_test, facts.failed) if one]
            found[item_no] = Known(facts, max(tests, default=None))
    return found


def pieces_of(shipment: Shipment) -> list[str]:
    """The item numbers on the slip of a shipment."""
    rows = ShipmentLine.objects.filter(shipment=shipment).order_by("item__item_no")
    return list(rows.values_list("item__item_no", flat=True))
