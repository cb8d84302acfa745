"""The slip "checked in by host": a crew's pieces with what was answered of each, for the crew or for one person."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.translation import gettext as _

from gear import wording
from gear.pdf import pdf_from
from gear.queries import described
from gear.rules import codes
from inspections.models import Visit
from inspections.queries import Brought
from inspections.rules import visiting
from inspections.wording import NOT_PROVEN

PAPERS = ("letter", "a4")


def visit_slip_pdf(visit: Visit, brought: Sequence[Brought], *, paper: str, each: bool = False) -> bytes:
    """The slip as a tagged PDF on one of PAPERS; with `each` a page for every person. Raises NotSet."""
    return pdf_from(visit_slip_html(visit, brought, paper=paper, each=each))


def visit_slip_html(visit: Visit, brought: Sequence[Brought], *, paper: str, each: bool = False) -> str:
    """The slip as one self-contained document."""
    now = timezone.localtime()
    open_pieces = [one for one in brought if one.open]
    people = [(who, list(had)) for who, had in groupby(open_pieces, key=lambda one: one.piece.person)]
    parts = people if each else [(people[0][0] if len(people) == 1 else None, open_pieces)] if people else []
    page = {
        "visit": visit,
        "paper": paper,
        "demo": settings.DEMO,
        "site": settings.SITE_NAME,
        "zone": settings.TIME_ZONE,
        "as_of": f"{wording.day(now.date())} {now:%H:%M}",
        "until": wording.day(visit.expected_until),
        "parts": [_part(visit, who, had) for who, had in parts],
        "cautions": wording.CAUTIONS,
    }
    return render_to_string("inspections/visit_slip_print.html", page)


def _part(visit: Visit, who: str | None, had: Sequence[Brought]) -> dict[str, Any]:
    lines = [piece_line(one, visit) for one in had]
    return {
        "who": _("All of the crew") if who is None else who or _("The crew's own"),
        "many": who is None,
        "good": [one for one in lines if one["verdict"] == "good"],
        "refused": [one for one in lines if one["verdict"] != "good"],
        "count": len(lines),
        "checked_in_by": ", ".join(
            sorted({one.piece.row.kept_by.name for one in had if one.piece.row.kept_by})
        ),
    }


def piece_line(one: Brought, visit: Visit) -> dict[str, Any]:
    """A piece in words: what it is, its code, its verdict now, and why it is refused."""
    answer, facts, row = one.answer, one.facts, one.piece.row
    statement = visiting.kept_piece(row.cells, item_no=one.item.item_no, hand=one.item.hand)
    lack = visiting.lacks(statement, papers=visit.papers, look=row.look)
    reasons = [wording.sentence(reason) for reason in answer.reasons]
    if lack and any(reason.code == "NEVER_TESTED" for reason in answer.reasons):
        reasons.append(str(NOT_PROVEN[lack]))
    return {
        "person": one.piece.person or _("the crew"),
        "item_no": one.item.item_no,
        "code": codes.grouped(facts.label) if facts.label else "",
        "number": one.item.serial,
        "what": described.heading(facts.identity),
        "verdict": answer.verdict if one.open else "",
        "words": wording.verdict(answer) if one.open else "",
        "gone": ""
        if one.open
        else _("Went home with its owner")
        if facts.away
        else _("Missing, or destroyed"),
        "last_day": wording.day(day) if (day := answer.set_good_through or answer.good_through) else "",
        "reasons": reasons if one.open else [],
        "looked_by": row.looked_by.name if row.looked_by else "",
    }
