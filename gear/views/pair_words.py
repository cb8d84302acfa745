"""A pair in words: what it is, where it lies, what it gives, and why it is not good."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import wording
from gear.queries import described
from gear.queries.entry_words import holder_word
from gear.rules.pairs import Pair
from gear.views.reasons import said_once

LEAST = 10**6


def shown_pair(pair: Pair) -> dict[str, Any]:
    """A pair for a row of a table or the head of a page. A piece that is not good tells for both."""
    # The piece with the worst reason: of its mate no more is said than that the set is not complete.
    worst = min(pair.answers, key=lambda one: one.reasons[0].rank if one.reasons else LEAST)
    left = None if pair.good_through is None else (pair.good_through - pair.as_of).days
    return {
        "name": pair.name,
        "item_no": pair.pieces[0].item_no,
        "pieces": [one.item_no for one in pair.pieces],
        "what": described.pair_heading(pair),
        "where": holder_word(pair.holder) if pair.holder else _("not on record"),
        "depot": pair.depot or "",
        "verdict": worst.verdict,
        "words": wording.verdict(worst),
        "reasons": [wording.sentence(one) for one in said_once(worst.reasons)],
        "good_through": wording.day(pair.good_through) if pair.good_through else "",
        "left": left,
        "gives": wording.day(pair.gives) if pair.gives else "",
        "days": pair.days,
    }


def days_words(pair: Pair) -> dict[str, Any]:
    """The large figure, and the sentence under it."""
    if pair.days is None or pair.gives is None:
        return {"figure": "–", "unit": _("days"), "figure_words": _("It cannot be handed out today.")}
    return {
        "figure": pair.days,
        "unit": ngettext("day", "days", pair.days),
        "figure_words": _("Handed out today, it is good through %s.") % wording.day(pair.gives),
    }
