"""The demo's carton: with the lab since twelve days, three days late, one piece missing and one extra."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

from fixtures.demo import people
from gear.actions.acting import Act
from gear.models import Holder, Item, ItemState
from inspections.actions import reconciling, shipments
from inspections.actions.reconciling import Stated
from inspections.rules.shipping import MISSING, PASSED, RETURNED

PIECES = 12
SENT, BACK = 12, 1  # days ago
SHELF = "Upper Clay tool room"


def lab_carton(today: date, act: Callable[..., Act]) -> None:
    """Pack, send and half reconcile one carton. `act(username, days=...)` makes an act of so many days ago."""
    shelf = Holder.objects.get(kind="shelf", name=SHELF)
    lab = Holder.objects.create(kind="lab", name=people.LAB)
    *sent, extra = _on(shelf)
    one = shipments.start(
        lab=lab, expected_on=today - timedelta(days=3), courier_no="PS 4471", act=act("orla", days=SENT)
    )
    for item in sent:
        shipments.scan(one.number, item, act=act("orla", days=SENT))
    shipments.send(one.number, act=act("orla", days=SENT, hour=9))
    outcomes = [Stated(PASSED, shelf, "PS-LAB 88")] * 6 + [
        Stated(RETURNED, shelf, "PS-LAB 88"),
        Stated(MISSING),
    ]
    for item, stated in zip(sent, outcomes, strict=False):
        reconciling.settle(one.number, item, stated, act=act("orla", days=BACK, hour=14))
    reconciling.take_extra(one.number, extra, shelf=shelf, act=act("orla", days=BACK, hour=14))


def _on(shelf: Holder) -> list[Item]:
    """Pairs on a shelf with nothing against them, so that no pair is torn, and one piece more."""
    states = ItemState.objects.filter(holder=shelf, condition="ok", item__item_type__kind="glove")
    rows = states.filter(gear_set__isnull=False).select_related("item").order_by("gear_set_id", "item_id")
    return [state.item for state in rows[: PIECES + 1]]
