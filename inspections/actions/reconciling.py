"""Reconcile a carton line by line: what came back, what the lab scrapped, what is missing, what was on no line."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any
from uuid import uuid5

from django.utils.translation import gettext as _

from gear import permissions
from gear.actions.acting import Act, depot_of, facts_now, keeping_refusals
from gear.ledger import Draft, record_many
from gear.models import Holder, Item
from gear.rules.fold import ItemFacts
from inspections.actions.shipments import ShipmentRefused, locked, moment_of
from inspections.models import SETTLED_NAMES, Shipment, ShipmentLine, ShipmentOutcome
from inspections.rules import shipping
from inspections.rules.shipping import BACK, DIFFERS, EXTRA, MISSING, PASSED, RETURNED, SCRAPPED, WITHDRAWN


@dataclass(frozen=True)
class Stated:
    """What the clerk says of one piece: the outcome and what belongs to it (rules.shipping.NEEDS)."""

    outcome: str
    shelf: Holder | None = None
    report_no: str = ""
    read: str = ""
    note: str = ""


def settle(number: str, item: Item, stated: Stated, *, act: Act) -> ShipmentOutcome:
    """Settle the line of a piece with its entries, all or none.

    `passed` puts it on its shelf and makes nothing good: only an accepted test does. Raises ShipmentRefused.
    """
    with keeping_refusals("reconcile", f"{number} {item.item_no}", act):
        shipment = _reconciling(number, act)
        line = shipment.lines.filter(item=item).first()
        if line is None:
            raise ShipmentRefused("NOT_ON_SLIP", item=item.item_no, number=number)
        last = _newest(line)
        if not line.open:
            name = SETTLED_NAMES[last.outcome] if last else ""
            raise ShipmentRefused("ALREADY_SETTLED", item=item.item_no, outcome=name)
        if stated.outcome not in shipping.OF_A_LINE:
            raise ShipmentRefused("NO_SUCH_OUTCOME")
        return _written(shipment, line, stated, act, corrects=last)


def correct(row_id: int, stated: Stated, *, act: Act) -> ShipmentOutcome:
    """Put another outcome in the place of a wrong one; both stay on record.

    Entries that the wrong one made stand: a rejection is corrected on the item's page, by a second person.
    """
    with keeping_refusals("reconcile", str(row_id), act):
        found = ShipmentOutcome.objects.select_related("shipment", "line", "item").filter(pk=row_id).first()
        if found is None:
            raise ShipmentRefused("NO_SUCH_OUTCOME")
        shipment = _reconciling(found.shipment.number, act, also_closed=True)
        if ShipmentOutcome.objects.filter(corrects=found).exists():
            raise ShipmentRefused("CORRECTED_BEFORE")
        closed = shipment.state == "closed"
        if code := shipping.may_follow(found.outcome, stated.outcome, closed=closed):
            raise ShipmentRefused(code)
        if found.line is None:
            return _withdrawn_extra(found, stated, act)
        return _written(shipment, found.line, stated, act, corrects=found)


def take_extra(number: str, item: Item, *, shelf: Holder | None, note: str = "", act: Act) -> ShipmentOutcome:
    """Take in a piece of ours that came back and was not on the slip."""
    with keeping_refusals("reconcile", f"{number} {item.item_no}", act):
        shipment = _reconciling(number, act)
        if shelf is None:
            raise ShipmentRefused("NO_SHELF")
        if shipment.lines.filter(item=item).exists():
            raise ShipmentRefused("ALREADY_SETTLED", item=item.item_no, outcome=_("on the slip"))
        _check_free(item)
        known = shipment.outcomes.filter(item=item, outcome=EXTRA, corrected_by__isnull=True).first()
        if known is not None:
            raise ShipmentRefused("ALREADY_SETTLED", item=item.item_no, outcome=SETTLED_NAMES[EXTRA])
        stated = Stated(EXTRA, shelf, note=note)
        arrived = _to_shelf(facts_now(item), shelf, shipment, act)
        _enter(item, [*arrived, ("noted", {"note": _reason(shipment, stated)})], act)
        return _row(shipment, stated, act, item=item)


def write_down(number: str, *, read: str, note: str = "", act: Act) -> ShipmentOutcome:
    """Write down a piece that came back and that nobody knows, by what stands on it. It is in no book."""
    with keeping_refusals("reconcile", number, act):
        shipment = _reconciling(number, act)
        if not read.strip():
            raise ShipmentRefused("NOT_READ")
        return _row(shipment, Stated(EXTRA, read=read, note=note), act)


def _reconciling(number: str, act: Act, *, also_closed: bool = False) -> Shipment:
    permissions.check_can(act.by, "reconcile")
    shipment = locked(number)
    if shipment.state != "sent" and not (also_closed and shipment.state == "closed"):
        raise ShipmentRefused("NOT_SENT", number=number)
    return shipment


def _check_free(item: Item) -> None:
    """Raise where the piece is on an open line of another shipment: it is settled there."""
    if there := ShipmentLine.objects.filter(item=item, open=True).select_related("shipment").first():
        raise ShipmentRefused("GOES_BY_OTHER", item=item.item_no, number=there.shipment.number)


def _newest(line: ShipmentLine) -> ShipmentOutcome | None:
    return line.outcomes.filter(corrected_by__isnull=True).first()


def _written(
    shipment: Shipment, line: ShipmentLine, stated: Stated, act: Act, *, corrects: ShipmentOutcome | None
) -> ShipmentOutcome:
    """The row of an outcome with the entries that follow from it."""
    _check_stated(stated)
    item, facts = line.item, facts_now(line.item)
    if stated.outcome == WITHDRAWN:
        _check_free(item)
    _enter(item, _entries(facts, shipment, stated, act), act)
    row = _row(shipment, stated, act, item=item, line=line, corrects=corrects)
    line.open = stated.outcome == WITHDRAWN
    line.save(update_fields=["open"])
    return row


def _check_stated(stated: Stated) -> None:
    needs = shipping.NEEDS[stated.outcome]
    if needs.shelf and stated.shelf is None:
        raise ShipmentRefused("NO_SHELF")
    if needs.report_no and not stated.report_no.strip():
        raise ShipmentRefused("NO_REPORT")
    if needs.read and not stated.read.strip():
        raise ShipmentRefused("NOT_READ")


Facts = tuple[str, dict[str, Any]]


def _entries(facts: ItemFacts, shipment: Shipment, stated: Stated, act: Act) -> list[Facts]:
    """The entries of an outcome. Of a piece that is recorded as destroyed only a note can be made."""
    said = _reason(shipment, stated)
    if facts.destroyed:
        return [("noted", {"note": said})]
    if stated.outcome == WITHDRAWN:
        away = [] if _is_at(facts, shipment.lab) else [("returned", _placed(shipment.lab, shipment))]
        return [("noted", {"note": said}), *away]
    found = _to_shelf(facts, stated.shelf, shipment, act) if stated.outcome in BACK else []
    if stated.outcome == MISSING and not facts.lost:
        found.append(("lost", {"reason": said}))
    if stated.outcome == DIFFERS:
        found.append(("held", {"reason": said, "batch": shipment.number}))
    if stated.outcome in (RETURNED, SCRAPPED):
        found.append(("rejected", {"reason": said}))
    if stated.outcome == SCRAPPED:
        # Destroyed it is only before two people of ours; what the lab says is kept as what it is.
        found.append(
            ("noted", {"note": f"the lab certifies in its report {stated.report_no} that it destroyed it"})
        )
    return found


# Kept in the record as they stand, in the language of the record.
_SAID = {
    PASSED: "came back from the lab",
    RETURNED: "rejected by the lab and sent back",
    SCRAPPED: "rejected by the lab, which says that it destroyed it",
    MISSING: "did not come back from the lab",
    DIFFERS: "came back from the lab with other marks than the book has",
    EXTRA: "came back from the lab and was on no slip",
    WITHDRAWN: "what was written down of it was taken back",
}


def _reason(shipment: Shipment, stated: Stated) -> str:
    """Why, for the record of the piece: what became of it, the shipment, the report and what was read."""
    parts = [_SAID[stated.outcome], f"shipment {shipment.number}"]
    if stated.report_no:
        parts.append(f"report {stated.report_no}")
    if stated.read:
        parts.append(f"read on it: {stated.read}")
    return ", ".join([*parts, *([stated.note] if stated.note else [])])[:500]


def _to_shelf(facts: ItemFacts, shelf: Holder | None, shipment: Shipment, act: Act) -> list[Facts]:
    """The entry that puts a piece on its shelf; one that was reported lost is thereby found, and held."""
    assert shelf is not None
    permissions.check_scope(act.by, depot_of(facts), act="move")
    if shelf.kind not in ("shelf", "bench") or not shelf.active:
        raise ShipmentRefused("NO_SHELF")
    if facts.destroyed:
        return []
    if facts.lost:
        note = f"{_SAID[PASSED]}, shipment {shipment.number}"
        return [("found", {"holder": shelf.as_fact(), "note": note})]
    return [] if _is_at(facts, shelf) else [("returned", _placed(shelf, shipment))]


def _placed(holder: Holder, shipment: Shipment) -> dict[str, Any]:
    return {"holder": holder.as_fact(), "batch": shipment.number}


def _is_at(facts: ItemFacts, holder: Holder) -> bool:
    there = facts.holder or {}
    return (there.get("kind"), there.get("name")) == (holder.kind, holder.name)


def _enter(item: Item, drafts: list[Facts], act: Act) -> None:
    record_many(
        [
            Draft(item, kind, facts, act.occurred_at, id=uuid5(act.id, f"{item.item_no} {place}"))
            for place, (kind, facts) in enumerate(drafts)
        ],
        by=act.by,
        via=act.via,
        device=act.device,
    )


def _withdrawn_extra(found: ShipmentOutcome, stated: Stated, act: Act) -> ShipmentOutcome:
    """An extra piece that was none: written down so, and noted on the record of a piece of ours."""
    if found.item is not None:
        said = (
            _("That it came back extra with shipment %s was written down by mistake.") % found.shipment.number
        )
        _enter(found.item, [("noted", {"note": f"{said} {stated.note}".strip()})], act)
    same = replace(stated, read=found.read, shelf=None)
    return _row(found.shipment, same, act, item=found.item, corrects=found)


def _row(
    shipment: Shipment,
    stated: Stated,
    act: Act,
    *,
    item: Item | None = None,
    line: ShipmentLine | None = None,
    corrects: ShipmentOutcome | None = None,
) -> ShipmentOutcome:
    return ShipmentOutcome.objects.create(
        shipment=shipment,
        line=line,
        item=item,
        outcome=stated.outcome,
        at=moment_of(act),
        by=act.by,
        shelf=stated.shelf,
        report_no=stated.report_no[:80],
        read=stated.read[:200],
        note=stated.note[:300],
        corrects=corrects,
    )
