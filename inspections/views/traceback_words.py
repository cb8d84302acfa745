"""A trace back in words: the window, the holders, the uses, and what ties a piece to the one that failed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import wording
from gear.queries import entry_words
from gear.views.whereabouts import holder_word
from inspections.queries.traceback import ITSELF, LOT, MATE, SESSION, Tie, TraceBack
from inspections.rules.traceback import JOB, PRE_USE, Stay, Use


def said_of(found: TraceBack) -> str:
    """Since when and until when the piece may have been bad, on what that rests, and whether holders are missing."""
    return " ".join(filter(None, [_window_told(found), _gap_told(found)]))


def _gap_told(found: TraceBack) -> str:
    """That nobody is on record for the first days of the window: a book that was brought in tells of today alone."""
    first = min((stay.since for stay in found.stays), default=None)
    if found.window.since is None or first is not None and first <= found.window.since:
        return ""
    if first is None:
        return _("Who had it in these days is not on record.")
    return _("Who had it before %s is not on record.") % wording.day(first)


def _window_told(found: TraceBack) -> str:
    window, told = found.window, {"item": found.item.item_no, "through": wording.day(found.window.through)}
    if window.good is not None:
        told["since"] = wording.day(window.good.occurred_on)
    if window.good is not None and window.bad is not None:
        return (
            _(
                "%(item)s passed its last good test on %(since)s and failed on %(through)s. In these days, both"
                " counted, it may have been bad."
            )
            % told
        )
    if window.bad is not None:
        return (
            _(
                "%(item)s failed on %(through)s, and no accepted test before that is on record. It may have been"
                " bad ever since it was received."
            )
            % told
        )
    if window.good is not None:
        return (
            _(
                "No failure of %(item)s is on record. Its last good test was on %(since)s; what followed is traced"
                " through %(through)s."
            )
            % told
        )
    return (
        _("Neither a failure nor an accepted test of %(item)s is on record. All of its record is traced.")
        % told
    )


def stay_told(stay: Stay) -> str:
    """`Dev, 3 AUG 2026 to 9 SEP 2026: 38 days, 12 of them with a recorded check.`"""
    told = {
        "name": holder_word(stay.holder.get("kind") or "", stay.holder.get("name") or ""),
        "since": wording.day(stay.since),
        "through": wording.day(stay.through) if stay.through else _("now"),
        "days": ngettext("%d day of the window", "%d days of the window", stay.days) % stay.days,
        "used": stay.used_days,
    }
    return _("%(name)s, %(since)s to %(through)s: %(days)s, %(used)d with a recorded check.") % told


def use_told(use: Use) -> dict[str, Any]:
    """A recorded use or check, with the address of its record where it has a page of its own."""
    if use.kind == PRE_USE:
        word = entry_words.word(entry_words.LOOKS, use.note)
        told = _("Look before use: %s") % word
        return {"day": wording.day(use.on), "words": told, "by": use.by, "address": ""}
    words = _("Job check of %s") % use.note if use.kind == JOB else _("Walk round %s") % use.note
    address = reverse("job_check" if use.kind == JOB else "load_check", args=[use.ref])
    return {"day": wording.day(use.on), "words": words, "by": use.by, "address": address}


def tie_words(ties: Sequence[Tie]) -> str:
    """What ties a piece to the one that is traced, each tie once."""
    return "; ".join(dict.fromkeys(_tie(one) for one in ties))


def _tie(tie: Tie) -> str:
    if tie.kind == ITSELF:
        return _("the piece itself")
    if tie.kind == MATE:
        told = {"set": tie.name, "since": wording.day(tie.since), "through": _through(tie.through)}
        return _("mate in %(set)s, %(since)s to %(through)s") % told
    if tie.kind == SESSION:
        told = {"session": tie.name, "day": wording.day(tie.since)}
        return _("bench session %(session)s of %(day)s") % told
    if tie.kind == LOT:
        return _("lot %s") % tie.name
    return _("shipment %s") % tie.name


def _through(day: date | None) -> str:
    return wording.day(day) if day else _("now")
