"""The state of this installation: what somebody must do today first."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from gear.models import STEP_NAMES
from gear.permissions import MANAGERS
from gear.queries import health as checks
from gear.queries.health import AMBER, RED, WELL, Finding
from gear.queries.installation import newest_results
from gear.views.moments import moment


def health(request: HttpRequest) -> HttpResponse:
    """Every finding, looked at anew: the page is where somebody sees whether what they did has helped."""
    now = timezone.now()
    found = checks.findings(now)
    groups = (
        (RED, _("To be mended today")),
        (AMBER, _("Worth knowing")),
        (WELL, _("Well")),
    )
    # A clerk reads what is wrong; the pages where it is mended are for others.
    leads_on = request.user.role in MANAGERS | {"auditor"}
    page = {
        "title": _("Health of this installation"),
        "asked_at": moment(now),
        "is_well": all(one.level == WELL for one in found),
        "nights": [
            {"name": STEP_NAMES[step], "ok": row.ok, "at": moment(row.at), "sentence": row.sentence}
            for step, row in newest_results().items()
        ],
        "groups": [
            {"level": level, "heading": heading, "rows": rows}
            for level, heading in groups
            if (rows := [_row(one, leads_on=leads_on) for one in found if one.level == level])
        ],
    }
    return render(request, "gear/health.html", page)


def _row(one: Finding, *, leads_on: bool) -> dict[str, Any]:
    return {
        "title": one.title,
        "code": one.code,
        "sentence": one.sentence,
        "at": moment(one.at) if one.at else "",
        "address": _address(one.page) if leads_on else "",
        "bars": one.bars,
    }


def _address(page: str) -> str:
    try:
        return reverse(page) if page else ""
    except NoReverseMatch:
        return ""
