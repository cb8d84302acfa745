"""Walks and what is on record with a truck, in words for the pages."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import wording
from gear.queries import described
from gear.views.reasons import said_once
from inspections.models import LoadCheck
from inspections.queries import loads as reads
from inspections.queries.loads import OnRecord
from inspections.rules.loadlist import NOT_SEEN, SEEN


def told_row(row: OnRecord) -> dict[str, Any]:
    """One piece on record, as lists show it."""
    return {
        "item_no": row.item_no,
        "what": described.heading(row.facts.identity),
        "set_no": row.facts.set_no or "",
        "verdict": row.answer.verdict,
        "words": wording.verdict(row.answer),
        "why": " ".join(wording.sentence(one) for one in said_once(row.answer.reasons)),
        "expected": row.expected,
    }


def told_check_row(row: LoadCheck) -> dict[str, Any]:
    """One walk in a list: when, by whom, and what it came to."""
    return {
        "row": row,
        "badge": {"good": "good", "stop": "stop"}.get(row.outcome, "unknown"),
        "outcome": outcome_words(row),
        "counts": _("%(seen)d of %(expected)d seen") % {"seen": row.seen, "expected": row.expected},
        "back": wording.day(row.back_on),
    }


def outcome_words(row: LoadCheck) -> str:
    """`STOP`, `NOT COMPLETE`, `ALL SEEN`: never good for a walk with anything missing."""
    if row.outcome == "good":
        return _("ALL SEEN")
    return _("STOP") if row.outcome == "stop" else _("NOT COMPLETE")


def told_check(row: LoadCheck) -> dict[str, Any]:
    """One walk in full: its sentence, each piece, what the list lacks, and what the server says otherwise."""
    turned = {one.item_no: one for one in reads.turned(row)}
    pieces = [_piece(one, row) for one in row.pieces]
    return {
        "title": _("Load check of %(truck)s") % {"truck": row.truck.name},
        "check": row,
        **told_check_row(row),
        "sentence": _sentence(row),
        "differs": row.outcome != row.told_outcome,
        "blocked": [one for one in pieces if one["blocked"]],
        "strays": [one for one in pieces if one["stray"]],
        "not_seen": [one for one in pieces if one["state"] == NOT_SEEN],
        "seen": [one for one in pieces if one["state"] == SEEN and not one["blocked"]],
        "short": [line for line in row.short if line["aboard"] < line["count"]],
        "turned": [
            {
                "item_no": one.item_no,
                "words": _server_words(one.verdict, one.good_through),
                "reasons": ", ".join(
                    wording.SHORT.get(code) and str(wording.SHORT[code]) or code for code in one.reasons
                ),
            }
            for one in turned.values()
        ],
        "besides": row.arrived.get("besides", []),
        "age": _age(row),
    }


def _sentence(row: LoadCheck) -> str:
    if row.outcome == "good":
        return _("All %(count)d seen, each in date and rated for what was entered through %(day)s.") % {
            "count": row.expected,
            "day": wording.day(row.back_on),
        }
    told = []
    if row.blocked:
        told.append(
            ngettext("%d aboard is not to be used.", "%d aboard are not to be used.", row.blocked)
            % row.blocked
        )
    if row.not_seen:
        told.append(ngettext("%d was not seen.", "%d were not seen.", row.not_seen) % row.not_seen)
    if row.strays:
        told.append(
            ngettext("%d is on record elsewhere.", "%d are on record elsewhere.", row.strays) % row.strays
        )
    if not row.expected:
        told.append(_("Nothing was on record with the truck."))
    return " ".join(told) or _("Less is aboard than the load list asks for.")


def _piece(piece: Mapping[str, Any], row: LoadCheck) -> dict[str, Any]:
    found = reads.found_in(piece)
    codes = [str(wording.SHORT[code]) if code in wording.SHORT else code for code in piece["reasons"]]
    through = wording.day(found.good_through) if found.good_through else ""
    if found.early(row.back_on):
        codes.append(_("good to %s, back later") % through)
    return {
        "item_no": found.item_no,
        "code": piece["code"],
        "state": found.state,
        "verdict": found.verdict,
        "blocked": found.blocked(row.back_on),
        "stray": found.stray,
        "taken": found.taken,
        "through": through,
        "why": ", ".join(codes),
    }


def _server_words(verdict: str, through: date | None) -> str:
    if verdict != "good":
        return str(wording.VERDICTS[verdict])
    return _("good through %s") % (wording.day(through) if through else "?")


def _age(row: LoadCheck) -> str:
    if row.data_as_of is None:
        return ""
    local = timezone.localtime(row.data_as_of)
    return f"{wording.day(local.date())}, {date_format(local, 'H:i')}"
