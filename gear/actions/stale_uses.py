"""The note of whoever looked into a look before use of a piece that was not good then."""

from __future__ import annotations

from django.utils import timezone

from gear.actions.acting import Act, Refused, check, enter, keeping_refusals, reason_in
from gear.models import Entry, Item, StaleUseNote
from gear.queries.stale_uses import open_stale_uses


def note_stale_use(item: Item, *, text: str, act: Act) -> Entry:
    """Note on the record of the piece what came of it; every open one of the piece is closed by it.

    Raises Refused where nothing is open or nothing is said, or NotAllowed.
    """
    with keeping_refusals("acknowledge", item.item_no, act):
        check("acknowledge", item, act)  # locks the piece: two notes cannot close the same one
        found = open_stale_uses(timezone.now(), item)
        if not found:
            raise Refused("NOTHING_OPEN")
        entry = enter(item, "noted", {"note": reason_in(text)}, act)
        for one in found:
            StaleUseNote(look=one.look, entry=entry).save()
        return entry
