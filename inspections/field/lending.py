"""Gear that changes trucks in the yard or on the road: the record of kind `moved`."""

from __future__ import annotations

from typing import Any

from gear.actions import custody
from gear.actions.acting import Act, Refused
from gear.models import Holder, Item
from inspections.field.kinds import BadRecord, Sent, text, words

MOST_PIECES = 12


def moved(sent: Sent, act: Act) -> dict[str, Any]:
    """Move the piece, and those named `with` it, to another holder, all or none. Body:

    {"to": {"kind", "name"}, "with": [item numbers]}. What is there already is kept as said and moves nothing: two
    people may record the same loan, and one may have named a single piece of it. Of two loans the later by its true
    time says where the piece is; both stay.
    """
    if sent.item is None:
        raise BadRecord("item must name the piece that moved.")
    numbers = words(sent.body, "with", most=MOST_PIECES)
    mates = list(Item.objects.filter(item_no__in=numbers).exclude(pk=sent.item.pk))
    if {one.item_no for one in mates} != set(numbers) - {sent.item.item_no}:
        raise BadRecord("with names a piece that is not in the book.")
    to = _holder(sent.body.get("to"))
    named = [sent.item, *mates]
    here = Item.objects.filter(pk__in=[one.pk for one in named], state__holder=to)
    there = set(here.values_list("pk", flat=True))
    going = [one for one in named if one.pk not in there]
    try:
        entries = custody.move(going or named, to=to, act=act)
    except Refused as error:
        if error.code != "SAME_PLACE":
            raise
        return {"moved": [], "there_already": to.name}
    return {"moved": [str(entry.pk) for entry in entries]}


def _holder(stated: object) -> Holder:
    named = stated if isinstance(stated, dict) else {}
    kind, name = text(named, "kind", most=12), text(named, "name", most=80)
    found = Holder.objects.select_related("crew", "depot").filter(kind=kind, name=name, active=True).first()
    if found is None:
        raise BadRecord("to names no holder that is in use.")
    return found
