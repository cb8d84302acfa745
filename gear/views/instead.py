"""What may stand in for a piece that was taken out of use: the same offers as at the truck, in words for a page."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.utils.translation import gettext as _

from gear import wording
from gear.models import Item
from gear.queries import Question, Seen
from gear.queries.replacements import Offer, replacements_for


def wants_another(seen: Seen) -> bool:
    """Whether something was found against the piece itself, so that whoever had it needs another.

    What is merely overdue, short of its mate, or destroyed long ago is no such piece.
    """
    facts = seen.facts
    if facts is None or seen.answer.verdict == "good" or facts.destroyed:
        return False
    return facts.condition != "ok" or bool(facts.voided)


def instead_of(seen: Seen, asked: Question) -> list[dict[str, Any]]:
    """Each offer: its name, the number of its first piece, where it lies, and its last good day.

    No query where `wants_another` is false.
    """
    if seen.item is None or not wants_another(seen):
        return []
    return [_shown(one) for one in replacements_for(seen.item, asked)]


def nearest_in_words(item_no: str, asked: Question) -> str:
    """One sentence that names the nearest; empty where there is none."""
    item = Item.objects.select_related("item_type", "state__gear_set").get(item_no=item_no)
    for one in map(_shown, replacements_for(item, asked)):
        return (
            _("Nearest equal: %(name)s at %(place)s, good through %(day)s. Scan it before you use it.") % one
        )
    return ""


def _shown(one: Offer) -> dict[str, Any]:
    day = wording.day(date.fromisoformat(one.good_through)) if one.good_through else _("no stated day")
    return {"name": one.name, "item_no": one.numbers[0], "place": one.place, "day": day}
