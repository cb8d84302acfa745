"""Old pairs that were replaced at the counter and are still in somebody's hands."""

from __future__ import annotations

from typing import Any, cast

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import permissions, queries, wording
from gear.models import CONDITION_NAMES, User
from gear.permissions import bound_to
from gear.queries import described
from gear.queries import not_returned as reads
from gear.queries.not_returned import NotReturned
from gear.queries.whereabouts import Phone, phones


def not_returned(request: HttpRequest) -> HttpResponse:
    """The longest first, with whom to call; somebody bound to a depot sees its people alone."""
    person = cast(User, request.user)
    depot, calls = bound_to(person), phones()
    found = reads.not_returned(queries.question())
    rows = [
        _row(one, calls.get(one.place.crew or "", Phone()))
        for one in found
        if depot is None or one.place.depot in (None, depot.name)
    ]
    page = {
        "title": _("Old pairs not returned"),
        "rows": rows,
        "depot": depot,
        "may_move": permissions.can(person, "move"),
    }
    return render(request, "gear/not_returned.html", page)


def _row(one: NotReturned, call: Phone) -> dict[str, Any]:
    return {
        "pieces": [
            {
                "item_no": piece.item_no,
                "what": described.heading(piece.identity),
                "condition": _condition(piece),
            }
            for piece in one.pieces
        ],
        "set_no": one.set_no,
        "person": one.person,
        "crew": one.place.crew or _("no crew on record"),
        "days": ngettext("%d day", "%d days", one.days) % one.days,
        "since": wording.day(one.replaced_on),
        "by": ", ".join(one.by_pieces),
        "call": call,
    }


def _condition(piece: Any) -> str:
    return "" if piece.condition == "ok" else str(CONDITION_NAMES[piece.condition])
