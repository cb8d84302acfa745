"""The gear book, the test book and what was destroyed as rows for people, two of them in the columns of imports."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import F

from gear.models import Entry, ItemState, ItemType
from gear.rules import gearbook
from gear.spreadsheets import Cell
from inspections.queries.electrical import tests_in_force
from inspections.rules import testbook

DESTROYED = ("item_no", "destroyed_on", "reason", "batch", "witness", "by", "recorded_at", "entry")
CHUNK = 1000


def rows_of_gear() -> Iterator[tuple[Cell, ...]]:
    """Every item as gear book files state it, under gearbook.COLUMNS; one statement."""
    states = ItemState.objects.select_related("item__item_type", "holder__crew", "holder__depot", "gear_set")
    for state in states.order_by("item__item_no").iterator(chunk_size=CHUNK):
        item, holder, facts = state.item, state.holder, state.facts
        identity = facts.get("identity") or {}
        stated = {name: getattr(item.item_type, name) for name in ItemType.SHARED}
        stated["class"] = stated.pop("cls")
        stated |= {name: getattr(item, name) for name in ("item_no", "serial", "hand", "lot", "made_on")}
        stated |= {
            "received_on": facts.get("received_on"),
            "first_issued_on": facts.get("first_issued_on"),
            "marked_expiry_on": identity.get("marked_expiry_on"),
            "set_no": state.gear_set.set_no if state.gear_set else None,
            "condition": state.condition,
        }
        if holder:
            stated |= {"holder": holder.name, "holder_kind": holder.kind}
            stated |= {name: str(one) for name in ("crew", "depot") if (one := getattr(holder, name))}
        yield tuple(_cell(stated.get(name)) for name in gearbook.COLUMNS)


def rows_of_tests() -> Iterator[tuple[Cell, ...]]:
    """Every test that counts, corrections applied, under testbook.COLUMNS; one statement."""
    names = ("item__item_no", *testbook.COLUMNS[1:])
    found = tests_in_force().order_by("tested_on", "item__item_no", "pk").values_list(*names)
    for values in found.iterator(chunk_size=CHUNK):
        yield tuple(map(_cell, values))


def rows_of_destroyed() -> Iterator[tuple[Cell, ...]]:
    """Every piece that was destroyed, with its witness, in order of days; one statement."""
    found = Entry.objects.filter(kind="destroyed").annotate(no=F("item__item_no"), who=F("by__username"))
    for one in found.order_by("occurred_on", "no").iterator(chunk_size=CHUNK):
        facts = one.facts
        told = (
            facts.get("reason"),
            facts.get("batch"),
            facts.get("witness"),
            one.who,
            one.recorded_at,
            one.pk,
        )
        yield (one.no, one.occurred_on, *map(_cell, told))


def _cell(value: object) -> Cell:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value if value is None or isinstance(value, int) else str(value)
