"""Pack a carton for a lab and send it: every scan is kept at once, and sending is one act, all or none."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from typing import Any, ClassVar
from uuid import uuid5

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from gear import permissions, queries
from gear.actions.acting import WORDS, Act, LedgerError, Refused, depot_of, facts_now, keeping_refusals
from gear.actions.committing import committed
from gear.ledger import Draft, record_many, site_zone
from gear.ledger.states import batches
from gear.models import Holder, Item, ItemState
from gear.rules import fold, transitions
from gear.rules.entries import UNREADABLE
from gear.rules.fold import ItemFacts
from gear.rules.moments import local_day
from inspections.models import Shipment, ShipmentLine
from inspections.rules import shipping


class ShipmentRefused(Refused):
    """An act on a carton that may not be done. `field` is the form field at fault, or empty."""

    SENTENCES: ClassVar[dict[str, tuple[str, Promise]]] = {
        "NOT_A_LAB": ("lab", _("Choose a lab: %(name)s is none.")),
        "CARTON_COUNT": ("carton", _("Carton %(carton)s of %(cartons)s cannot be.")),
        "BACK_BEFORE_SENT": ("expected_on", _("It cannot be back before it is sent: choose a day from today on.")),
        "NO_SUCH_SHIPMENT": ("", _("There is no shipment %(number)s.")),
        "NOT_PACKING": ("", _("%(number)s is not being packed any more. Start another carton.")),
        "NOT_SENT": ("", _("%(number)s was not sent, or is closed already.")),
        "IN_OTHER_SHIPMENT": ("piece", _("%(item)s is in shipment %(number)s already. Undo that line, or settle it.")),
        "IN_THIS_CARTON": ("piece", _("%(item)s is in this carton already.")),
        "MAY_NOT_GO": ("piece", _("%(item)s: %(why)s")),
        "NOT_IN_CARTON": ("piece", _("%(item)s is not in this carton.")),
        "EMPTY": ("", _("The carton is empty. Scan the pieces first.")),
        "NO_LAB_IN_USE": ("", _("%(name)s is not in use any more. Start a carton to another lab.")),
        "ALREADY_SETTLED": ("piece", _("%(item)s was settled already: %(outcome)s. Correct that row instead.")),
        "OPEN_LINES": ("", _("%(number)s has open lines, so it cannot be closed: %(items)s.")),
        "NO_SHELF": ("shelf", _("Choose the shelf or bench that it goes to.")),
        "NO_REPORT": ("report_no", _("Give the number of the report in which the lab says so.")),
        "NOT_READ": ("read", _("Write down what is marked on the piece.")),
        "NOT_ON_SLIP": ("piece", _("%(item)s was not on the slip of %(number)s. Take it in as extra first.")),
        "NO_SUCH_OUTCOME": ("outcome", _("Choose what became of the piece.")),
        "SAME_OUTCOME": ("outcome", _("That is what is written down already.")),
        "SHIPMENT_CLOSED": ("outcome", _("The shipment is closed, so no line of it can be opened again.")),
        "EXTRA_ONLY_WITHDRAWN": ("outcome", _("An extra piece can only be taken back.")),
        "CORRECTED_BEFORE": ("", _("This row was corrected before. Correct the newest one.")),
        "GOES_BY_OTHER": ("piece", _("%(item)s went out with %(number)s. Settle it there.")),
    }  # fmt: skip

    def __init__(self, code: str, **values: Any) -> None:
        self.field, sentence = self.SENTENCES[code]
        self.code = code
        Exception.__init__(self, str(sentence) % values if values else str(sentence))


def today() -> date:
    """The day at the site."""
    return local_day(timezone.now(), site_zone())


def moment_of(act: Act) -> datetime:
    """When an act happened: now, unless it is told later than it happened."""
    return act.occurred_at or timezone.now()


def day_of(act: Act) -> date:
    """The day on which an act happened, at the site."""
    return local_day(moment_of(act), site_zone())


def start(
    *, lab: Holder, expected_on: date, carton: int = 1, cartons: int = 1, courier_no: str = "", act: Act
) -> Shipment:
    """Start a carton to a lab under the next number. Raises NotAllowed or ShipmentRefused with the field."""
    with keeping_refusals("ship", str(lab), act):
        permissions.check_can(act.by, "ship")
        _check_plan(lab, expected_on, carton, cartons, act)
        return committed(
            lambda: Shipment.objects.create(
                number=shipping.next_number(Shipment.objects.values_list("number", flat=True)),
                lab=lab,
                carton=carton,
                cartons=cartons,
                expected_on=expected_on,
                courier_no=courier_no,
                started_at=moment_of(act),
                started_by=act.by,
            )
        )


def _check_plan(lab: Holder, expected_on: date, carton: int, cartons: int, act: Act) -> None:
    if lab.kind != "lab" or not lab.active:
        raise ShipmentRefused("NOT_A_LAB", name=lab.name)
    if not 1 <= carton <= cartons:
        raise ShipmentRefused("CARTON_COUNT", carton=carton, cartons=cartons)
    if expected_on < day_of(act):
        raise ShipmentRefused("BACK_BEFORE_SENT")


def change(
    number: str, *, expected_on: date, carton: int, cartons: int, courier_no: str, act: Act
) -> Shipment:
    """Change what stands on the slip while the carton is packed."""
    with _packing(number, act) as shipment:
        _check_plan(shipment.lab, expected_on, carton, cartons, act)
        shipment.expected_on, shipment.carton, shipment.cartons = expected_on, carton, cartons
        shipment.courier_no = courier_no
        shipment.save(update_fields=["expected_on", "carton", "cartons", "courier_no"])
        return shipment


@contextmanager
def _packing(number: str, act: Act, *, piece: str = "") -> Iterator[Shipment]:
    """The locked shipment while it is being packed; what is refused inside is kept."""
    with keeping_refusals("ship", f"{number} {piece}".strip(), act):
        permissions.check_can(act.by, "ship")
        shipment = locked(number)
        if shipment.state != "packing":
            raise ShipmentRefused("NOT_PACKING", number=number)
        yield shipment


def locked(number: str) -> Shipment:
    """The shipment, its row locked: all that is done to one carton is done in turn."""
    rows = Shipment.objects.select_for_update(of=("self",)).select_related("lab")
    found = rows.filter(number=number).first()
    if found is None:
        raise ShipmentRefused("NO_SUCH_SHIPMENT", number=number)
    return found


def scan(number: str, item: Item, *, note: str = "", act: Act) -> ShipmentLine:
    """Put a piece into the carton. Blocked pieces may go; one that is in another open shipment may not."""
    with _packing(number, act, piece=item.item_no) as shipment:
        _check_free(shipment, item)
        facts = facts_now(item)
        _check_may_go(item, facts, act)
        line = ShipmentLine(
            shipment=shipment,
            item=item,
            added_at=moment_of(act),
            added_by=act.by,
            why=_why(item),
            note=(note or _doubt(facts))[:200],
        )
        try:
            with transaction.atomic():
                line.save()
        except IntegrityError:  # another carton was quicker
            _check_free(shipment, item)
            raise
        return line


def _check_free(shipment: Shipment, item: Item) -> None:
    found = ShipmentLine.objects.filter(item=item, open=True).select_related("shipment").first()
    if found is None:
        return
    if found.shipment_id == shipment.pk:
        raise ShipmentRefused("IN_THIS_CARTON", item=item.item_no)
    raise ShipmentRefused("IN_OTHER_SHIPMENT", item=item.item_no, number=found.shipment.number)


def _check_may_go(item: Item, facts: ItemFacts, act: Act) -> None:
    permissions.check_scope(act.by, depot_of(facts), act="send_for_test")
    if code := shipping.may_go(facts) or transitions.refusal("send_for_test", facts):
        raise ShipmentRefused("MAY_NOT_GO", item=item.item_no, why=WORDS[code])


def _why(item: Item) -> str:
    """The code of the worst that is said of a piece today; nothing where it is simply sent."""
    (told,) = queries.answers([item.item_no], queries.question())
    due = [note.code for note in told.notes if note.code == "DUE_SOON"]
    return next(iter([reason.code for reason in told.reasons] + due), "")


def _doubt(facts: ItemFacts) -> str:
    """What somebody said of a piece that is in doubt: the lab should look there first."""
    return next((one.reason for one in reversed([*facts.holds, *facts.voided]) if one.reason), "")


def undo(number: str, item: Item, *, act: Act) -> None:
    """Take a piece out of the carton again; before sending this leaves nothing behind."""
    with _packing(number, act, piece=item.item_no) as shipment:
        if not shipment.lines.filter(item=item).delete()[0]:
            raise ShipmentRefused("NOT_IN_CARTON", item=item.item_no)


def send(number: str, *, courier_no: str = "", act: Act) -> Shipment:
    """Send the carton: every piece is out for test at the lab, or none is. A piece that may not go names itself."""
    with _packing(number, act) as shipment:
        if not shipment.lab.active:
            raise ShipmentRefused("NO_LAB_IN_USE", name=shipment.lab.name)
        if shipment.expected_on < day_of(act):
            raise ShipmentRefused("BACK_BEFORE_SENT")
        lines = list(shipment.lines.select_related("item").order_by("item_id"))
        if not lines:
            raise ShipmentRefused("EMPTY")
        facts = _facts_of([line.item for line in lines])
        for line in lines:
            _check_may_go(line.item, facts[line.item_id], act)
        entries = record_many(
            [_sending(line, shipment, act) for line in lines], by=act.by, via=act.via, device=act.device
        )
        for line, entry in zip(lines, entries, strict=True):
            line.entry = entry
        ShipmentLine.objects.bulk_update(lines, ["entry"], batch_size=200)
        shipment.state, shipment.sent_at, shipment.sent_by = "sent", moment_of(act), act.by
        shipment.courier_no = courier_no or shipment.courier_no
        shipment.save(update_fields=["state", "sent_at", "sent_by", "courier_no"])
        return shipment


def _sending(line: ShipmentLine, shipment: Shipment, act: Act) -> Draft:
    facts: dict[str, Any] = {"holder": shipment.lab.as_fact(), "batch": shipment.number}
    if line.note:
        facts["reason"] = line.note
    return Draft(line.item, "sent_for_test", facts, act.occurred_at, id=uuid5(act.id, line.item.item_no))


def _facts_of(items: Iterable[Item]) -> dict[int, ItemFacts]:
    """The facts of many items, their states locked in one order. Raises LedgerError where one cannot be read."""
    found = {}
    wanted = sorted(item.pk for item in items)
    try:
        for batch in batches(wanted):
            for state in ItemState.objects.select_for_update().filter(pk__in=batch).order_by("pk"):
                found[state.pk] = fold.from_json(state.facts)
    except UNREADABLE as error:
        raise _unreadable() from error
    if len(found) < len(wanted):
        raise _unreadable()
    return found


def _unreadable() -> LedgerError:
    return LedgerError(
        gettext(
            "The record of a piece in the carton cannot be read. Have the administrator run verify_ledger."
        )
    )


def close(number: str, *, act: Act) -> Shipment:
    """Close a shipment of which every line is settled, or a carton that stayed empty. Closing twice closes once."""
    with keeping_refusals("reconcile", number, act):
        permissions.check_can(act.by, "reconcile")
        shipment = locked(number)
        if shipment.state == "closed":
            return shipment
        still = list(shipment.lines.filter(open=True).order_by("pk").values_list("item__item_no", flat=True))
        if still:
            named = ", ".join(still[:10]) + (", ..." if len(still) > 10 else "")
            raise ShipmentRefused("OPEN_LINES", number=number, items=named)
        shipment.state, shipment.closed_at, shipment.closed_by = "closed", moment_of(act), act.by
        shipment.save(update_fields=["state", "closed_at", "closed_by"])
        return shipment
