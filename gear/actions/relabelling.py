"""Replace the label of a piece: a new code is in force from now on, and the old one is void for ever."""

from __future__ import annotations

from gear.actions.acting import Act, check, enter, keeping_refusals, reason_in
from gear.actions.receiving import new_codes
from gear.models import Entry, Item


def relabel(item: Item, *, reason: str, act: Act) -> Entry:
    """Give the item a new label code, or its first. The old label answers `stop` to whoever scans it.

    Printing a label again needs none of this and keeps the code; this is for a label that was copied, lost or put on
    another piece. Raises Refused without a reason, NotAllowed, or Refused for a destroyed piece.
    """
    with keeping_refusals("relabel", item.item_no, act):
        facts = check("relabel", item, act)
        (code,) = new_codes(1)
        stated = {"code": code, "replaces": facts.label or None, "reason": reason_in(reason)}
        return enter(item, "labelled", stated, act)
