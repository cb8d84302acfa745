"""Every kind of record that phones send, by its name. A new kind gets a line here."""

from __future__ import annotations

from inspections.field import pieces
from inspections.field.dismissed import dismissed
from inspections.field.kinds import KINDS, Doing
from inspections.field.lending import moved
from inspections.field.walks import load_check

KINDS |= {
    "checked": pieces.checked,
    "damage": pieces.damage,
    "dismissed": dismissed,
    "event": pieces.event,
    "found": pieces.found,
    "lost": pieces.lost,
    "moved": moved,
    "load_check": load_check,
}


def doing_of(kind: str) -> Doing | None:
    """What does the records of a kind; None for a kind that this server does not know."""
    return KINDS.get(kind)
