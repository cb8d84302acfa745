"""Missing particulars: how many records lack what, what that costs, and where each is corrected."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, cast
from urllib.parse import urlencode

from django.conf import settings
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from gear import permissions
from gear.models import Depot, User
from gear.queries import described
from gear.rules.particulars import NEEDS, PARTICULARS
from gear.spreadsheets import inert_lines
from reports.permissions import scope_of
from reports.queries.particulars import UNREADABLE, Lacking, Lacks, fixing_entries, lacks, need_of
from reports.wording.particulars import NEED_NAMES, SENTENCES

PAGE = 100
ORDER = (UNREADABLE, *(one.code for one in PARTICULARS))
COLUMNS = ("item_no", "kind", "what", "lacks", "needed", "costs", "holder", "crew", "depot")


def page(request: HttpRequest) -> HttpResponse:
    """The counts, and the pieces that lack the one thing asked for, each with the way to mend it."""
    depot, choices = _depot(request)
    found = lacks(depot=depot)
    counts, code = found.counts, request.GET.get("lack", "")
    context: dict[str, Any] = {
        "title": _("Missing particulars"),
        "depot": depot or "",
        "depots": choices,
        "looked_at": found.looked_at,
        "needs": [(NEED_NAMES[need], found.needs[need]) for need in NEEDS],
        "rows": [_count(one, counts[one], depot, current=one == code) for one in ORDER if counts[one]],
        "query": urlencode({"depot": depot}) if depot else "",
        "chosen": "",
    }
    if code in SENTENCES:
        context |= _listed(request, found, code)
    return render(request, "reports/data_quality.html", context)


def csv(request: HttpRequest) -> StreamingHttpResponse:
    """One line for everything that a record lacks."""
    depot, _choices = _depot(request)
    name = f"{'DEMO-' if settings.DEMO else ''}missing-particulars.csv"
    return StreamingHttpResponse(
        inert_lines(COLUMNS, _cells(lacks(depot=depot))),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def _depot(request: HttpRequest) -> tuple[str | None, list[str]]:
    """(the depot looked at, None for the whole book; the depots to choose from, none for who is bound to one)."""
    scope = scope_of(cast(User, request.user))
    if scope.kind == "depot":
        return scope.name, []
    names = list(Depot.objects.order_by("name").values_list("name", flat=True))
    asked = request.GET.get("depot", "")
    return (asked if asked in names else None), names


def _count(code: str, count: int, depot: str | None, *, current: bool) -> dict[str, Any]:
    name, costs = SENTENCES[code]
    asked = {"lack": code} | ({"depot": depot} if depot else {})
    address = f"{reverse('data_quality')}?{urlencode(asked)}#found"
    return {
        "name": name,
        "costs": costs,
        "need": NEED_NAMES[need_of(code)],
        "count": count,
        "address": address,
        "current": current,
    }


def _listed(request: HttpRequest, found: Lacks, code: str) -> dict[str, Any]:
    pieces = found.with_lack(code)
    pages = max(1, -(-len(pieces) // PAGE))
    typed = request.GET.get("page", "")
    number = min(max(int(typed), 1), pages) if typed.isdecimal() and len(typed) < 7 else 1
    shown = pieces[(number - 1) * PAGE : number * PAGE]
    entries = fixing_entries(shown, code) if permissions.can(cast(User, request.user), "correct") else {}
    asked = {name: request.GET[name] for name in ("lack", "depot") if request.GET.get(name)}
    return {
        "chosen": SENTENCES[code][0],
        "pieces": [_piece(piece, entries.get(piece.pk)) for piece in shown],
        "count": len(pieces),
        "number": number,
        "pages": pages,
        "earlier": f"?{urlencode({**asked, 'page': number - 1})}#found" if number > 1 else "",
        "later": f"?{urlencode({**asked, 'page': number + 1})}#found" if number < pages else "",
    }


def _piece(piece: Lacking, entry: Any) -> dict[str, Any]:
    return {
        "item_no": piece.item_no,
        "heading": described.heading(piece.identity),
        "holder": piece.holder,
        "depot": piece.place.depot or "",
        "others": [SENTENCES[code][0] for code in piece.codes],
        "address": reverse("correct", args=[entry]) if entry else "",
    }


def _cells(found: Lacks) -> Iterator[tuple[str | None, ...]]:
    for piece in found.pieces:
        for code in piece.codes:
            name, costs = SENTENCES[code]
            what = described.heading(piece.identity)
            place = (piece.holder, piece.place.crew, piece.place.depot)
            yield (piece.item_no, piece.kind, what, str(name), need_of(code), str(costs), *place)
