"""The register of what was lost, and of what was found again. Whatever is lost stays counted."""

from __future__ import annotations

from typing import Any, cast

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from gear import wording
from gear.models import User
from gear.queries import question
from gear.queries.lost import Lost, lost_register
from reports.permissions import scope_of
from reports.wording.beside import lost_row


def register(request: HttpRequest) -> HttpResponse:
    scope = scope_of(cast(User, request.user))
    found = [one for one in lost_register(question()) if scope.covers(one.place)]
    page = {
        "title": _("Lost"),
        "still": [lost_row(one) for one in found if one.still],
        "ended": [_ended(one) for one in found if not one.still],
    }
    return render(request, "reports/lost.html", page)


def _ended(one: Lost) -> dict[str, Any]:
    """A loss that is over: the piece was found again, or destroyed since."""
    if one.found is not None:
        became = _("Found again on %s") % wording.day(one.found.occurred_on)
    else:
        became = _("Destroyed since")
    note = str(one.found.facts.get("note", "")) if one.found else ""
    return {"row": lost_row(one), "became": became, "by": one.found_by, "note": note}
