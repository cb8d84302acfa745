"""Cartons for tests, packed as the tool room packs them."""

from datetime import timedelta
from types import SimpleNamespace

from gear.actions.acting import Act
from gear.models import Holder, Item
from inspections.actions import reconciling, shipments
from inspections.actions.reconciling import Stated
from inspections.models import Shipment
from tests import builders


def lab(name: str = "The lab") -> Holder:
    return builders.holder("lab", name, depot=None)


def shelf(name: str = "Back shelf") -> Holder:
    return builders.holder("shelf", name)


def started(by, **stated) -> Shipment:
    """A carton to the lab, expected back in nine days."""
    usual = {"lab": lab(), "expected_on": shipments.today() + timedelta(days=9)}
    return shipments.start(**{**usual, **stated}, act=Act(by))


def packed(by, *items: Item, **stated) -> Shipment:
    """A carton with these pieces in it, not sent."""
    one = started(by, **stated)
    for item in items:
        shipments.scan(one.number, item, act=Act(by))
    return one


def sent(by, *items: Item, **stated) -> Shipment:
    """A carton that is with the lab."""
    return shipments.send(packed(by, *items, **stated).number, act=Act(by))


def settle(one: Shipment, item: Item, outcome: str = "passed", *, by, **stated):
    """Settle the line of a piece; it goes to the back shelf where it is back."""
    usual = {"shelf": shelf()} if outcome in ("passed", "rejected_returned", "identity_differs") else {}
    return reconciling.settle(one.number, item, Stated(outcome, **{**usual, **stated}), act=Act(by))


def overdue(one: Shipment, days: int) -> None:
    """The carton should have been back some days ago."""
    Shipment.objects.filter(pk=one.pk).update(expected_on=shipments.today() - timedelta(days=days))


def fleet(count: int) -> SimpleNamespace:
    """So many class 2 gloves with an accepted test, on a shelf."""
    gloves = [builders.glove(f"G-{number:05d}", serial=f"S{number}") for number in range(1, count + 1)]
    builders.tested(*gloves, on=builders.today() - timedelta(days=200))
    return SimpleNamespace(all=gloves, first=gloves[0])
