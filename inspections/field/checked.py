"""A look before use, recorded at the truck."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _

from gear.actions.acting import Act
from gear.actions.looks import inspect_before_use
from inspections.field.kinds import BadRecord, Sent, text, words


def checked(sent: Sent, act: Act) -> dict[str, Any]:
    """Body: "outcome" (accept, clean, test or reject), "words", "place", "note"."""
    if sent.item is None:
        raise BadRecord(_("item must be the number of an item in the book."))
    entry = inspect_before_use(
        sent.item,
        outcome=text(sent.body, "outcome", most=20),
        words=words(sent.body, "words"),
        place=text(sent.body, "place", most=120),
        note=text(sent.body, "note"),
        act=act,
    )
    return {"entry": str(entry.pk)}
