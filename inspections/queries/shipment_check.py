"""What verify_ledger looks at in cartons: lines are no evidence of their own, so they must say what the entries say."""

from __future__ import annotations

from collections.abc import Iterator

from django.utils.translation import gettext as _

from gear.ledger.chain import subject_name
from gear.ledger.problems import Problem
from gear.models import Entry, Item
from inspections.models import ShipmentLine, ShipmentOutcome
from inspections.rules.shipping import WITHDRAWN


def shipment_problems() -> Iterator[Problem]:
    """Every line that differs from its entry or its outcomes, every sending that lost its line, every shipment that
    was closed over an open line. A fixed number of queries.
    """
    settled = dict(
        ShipmentOutcome.objects.filter(line__isnull=False, corrected_by__isnull=True).values_list(
            "line_id", "outcome"
        )
    )
    lines = ShipmentLine.objects.select_related("shipment", "item", "entry").order_by("pk")
    for line in lines.iterator(chunk_size=400):
        if why := _difference(line, settled.get(line.pk, WITHDRAWN)):
            yield _problem(line.item, line.shipment.number, why)
    lost = Entry.objects.filter(kind="sent_for_test", facts__has_key="batch", shipmentline=None)
    for entry in lost.select_related("item").order_by("item_id", "position"):
        yield _problem(entry.item, str(entry.facts["batch"]), _("has lost its line"))


def _difference(line: ShipmentLine, outcome: str) -> str:
    number, entry = line.shipment.number, line.entry
    if entry is None:
        return "" if line.shipment.state == "packing" else _("was never sent")
    if (entry.kind, entry.item_id, entry.facts.get("batch")) != ("sent_for_test", line.item_id, number):
        return _("differs from its entry")
    if line.open is not (outcome == WITHDRAWN):
        return _("differs from its outcome")
    return _("is open in a closed shipment") if line.open and line.shipment.state == "closed" else ""


def _problem(item: Item | None, number: str, why: str) -> Problem:
    subject = subject_name(item)
    told = {"subject": subject, "number": number, "why": why}
    sentence = _(
        "%(subject)s: its line in shipment %(number)s %(why)s. Compare with the slip and an older backup."
    )
    return Problem(subject, "SHIPMENT_DIFFERS", sentence % told)
