"""The section of the weekly report on old pairs that were replaced and are still in somebody's hands, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import wording
from gear.models import CONDITION_NAMES
from gear.queries import described
from gear.queries.not_returned import NotReturned
from gear.queries.whereabouts import Phone
from gear.rules.fold import ItemFacts

MOST = 60  # rows that are shown; the count is whole


@dataclass(frozen=True)
class Row:
    """One old pair: who has it, whom to call, and since when it has been replaced."""

    person: str
    crew: str
    call: str
    dial: str
    pieces: tuple[tuple[str, str], ...]
    since: str
    days: str


@dataclass(frozen=True)
class Section:
    """How many old pairs there are, the rows that are shown, and what was left out, or nothing."""

    count: int
    rows: tuple[Row, ...]
    cut: str


def tell_not_returned(found: Sequence[NotReturned], *, phones: Mapping[str, Phone]) -> Section:
    """The section in words, the longest first. `phones` are by name of crew."""
    cut = ""
    if len(found) > MOST:
        cut = _("Only the first %(shown)d of %(count)d are shown here.") % {
            "shown": MOST,
            "count": len(found),
        }
    return Section(len(found), tuple(_row(one, phones) for one in found[:MOST]), cut)


def _row(one: NotReturned, phones: Mapping[str, Phone]) -> Row:
    phone = phones.get(one.place.crew or "", Phone())
    return Row(
        one.person,
        ", ".join(name for name in (one.place.crew, one.place.depot) if name) or _("no crew on record"),
        phone.sentence,
        phone.dial,
        tuple((piece.item_no, _what(piece)) for piece in one.pieces),
        wording.day(one.replaced_on),
        ngettext("%d day", "%d days", one.days) % one.days,
    )


def _what(piece: ItemFacts) -> str:
    condition = piece.condition
    words = [described.heading(piece.identity), "" if condition == "ok" else str(CONDITION_NAMES[condition])]
    return ", ".join(word for word in words if word)
