"""What is kept as evidence: a list of every piece that nobody may test, clean or destroy, and of what was freed."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from gear.models import HOLDER_NAMES
from gear.queries import described
from gear.queries.evidence import Kept, kept_page
from gear.views.addresses import address_of
from gear.views.moments import moment


def evidence(request: HttpRequest) -> HttpResponse:
    """`?page=` is a page of the list; anything that is no number is the first."""
    stated = request.GET.get("page", "")
    found, page, pages = kept_page(int(stated[:9]) if stated.isascii() and stated.isdigit() else 1)
    rows = [(_row(one), one.in_force) for one in found]
    context = {
        "title": _("Kept as evidence"),
        "kept": [row for row, in_force in rows if in_force],
        "freed": [row for row, in_force in rows if not in_force],
        "page": page,
        "pages": pages,
    }
    return render(request, "gear/evidence.html", context)


def _row(one: Kept) -> dict[str, Any]:
    holder, ended = one.facts.get("holder") or {}, one.ended
    return {
        "item_no": one.item.item_no,
        "heading": described.heading(one.facts.get("identity", {})),
        "reason": one.began.facts.get("reason", ""),
        "since": moment(one.began.occurred_at),
        "by": one.began.by.name if one.began.by else "",
        "place": holder.get("name", ""),
        "kind": HOLDER_NAMES.get(holder.get("kind", ""), ""),
        "depot": holder.get("depot") or "",
        "dossier": record_address(one.item.item_no),
        "ended_at": moment(ended.occurred_at) if ended else "",
        "ended_by": ended.by.name if ended and ended.by else "",
        "why_ended": ended.facts.get("reason", "") if ended else "",
    }


def record_address(item_no: str, at: str = "") -> str:
    """Where the record of a piece as of a moment is asked for; empty where the service has no such page."""
    address = address_of("record_of")
    asked = {"item": item_no, **({"at": at} if at else {})}
    return f"{address}?{urlencode(asked)}" if address else ""
