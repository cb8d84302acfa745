"""The change-out list as a page and on paper."""

from __future__ import annotations

import logging
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from gear import permissions
from gear.models import User
from gear.queries import question, rules_for
from reports import queries
from reports.pdf import PAPERS, NotSet, change_out_pdf
from reports.permissions import scope_of
from reports.rules.changeout import LONGEST, SHORTEST, USUAL
from reports.wording.changeout import TITLE, List, tell

log = logging.getLogger(__name__)


class BadDays(ValueError):
    """The days are no whole number that the list can look ahead. The message says which are."""


def page(request: HttpRequest) -> HttpResponse:
    """Who is due, crew by crew, with the pair that lies ready for each."""
    try:
        within = _within(request)
    except BadDays as error:
        return _shown(request, None, within=request.GET.get("days", ""), problem=str(error), status=400)
    return _shown(request, _list(request, within), within=str(within))


def pdf(request: HttpRequest) -> HttpResponseBase:
    paper = request.GET.get("paper") or PAPERS[0]
    try:
        within = _within(request)
        if paper not in PAPERS:
            raise BadDays(_("The paper must be one of %s.") % ", ".join(PAPERS))
    except BadDays as error:
        return _shown(request, None, within=request.GET.get("days", ""), problem=str(error), status=400)
    told = _list(request, within)
    try:
        content = change_out_pdf(told, paper=paper)
    except NotSet as error:
        log.error("The PDF of the change-out list could not be made: %s", error.detail)
        return _shown(request, told, within=str(within), problem=str(error), status=503)
    name = f"{'DEMO-' if settings.DEMO else ''}change-out.pdf"
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return HttpResponse(content, content_type="application/pdf", headers=headers)


def _within(request: HttpRequest) -> int:
    typed = request.GET.get("days", "").strip() or str(USUAL)
    if not (typed.isascii() and typed.isdigit() and len(typed) < 6 and SHORTEST <= int(typed) <= LONGEST):
        bounds = {"first": SHORTEST, "last": LONGEST}
        raise BadDays(_("Days: give a whole number from %(first)d to %(last)d.") % bounds)
    return int(typed)


def _list(request: HttpRequest, within: int) -> List:
    """The list on the people whom this person may see."""
    assert isinstance(request.user, User)  # the gate lets nobody else in
    asked, scope = question(), scope_of(request.user)
    found = queries.change_out_list(asked, scope=scope, within=within)
    pack = rules_for(asked).pack
    return tell(
        found,
        phones=queries.phones(),
        made_at=asked.asked_at,
        zone=settings.TIME_ZONE,
        rule_pack=pack.label if pack else "",
        scope=scope,
    )


def _shown(
    request: HttpRequest, told: List | None, *, within: str, problem: str = "", status: int = 200
) -> HttpResponse:
    context: dict[str, Any] = {
        "title": str(TITLE),
        "told": told,
        "within": within,
        "problem": problem,
        "query": f"?{urlencode({'days': within})}",
        "a4": f"?{urlencode({'days': within, 'paper': 'a4'})}",
        "may_issue": isinstance(request.user, User) and permissions.can(request.user, "issue"),
    }
    return render(request, "reports/change_out.html", context, status=status)
