"""The overdue report as a page and as files, each from the same report."""

from __future__ import annotations

import logging
from io import BytesIO
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _

from gear.models import User
from gear.queries import BadQuestion, question_in
from reports import queries
from reports.pdf import PAPERS, NotSet, weekly_pdf
from reports.permissions import scope_of
from reports.spreadsheets import csv_lines, write_workbook
from reports.wording import Caps, Weekly, tell, weekly_json
from reports.wording.beside import tell_beside
from reports.wording.sentences import TITLE

log = logging.getLogger(__name__)

PAGE = Caps(500, 500, 500)
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def page(request: HttpRequest) -> HttpResponse:
    """What needs a phone call, what falls due, what is off the road, and how it was counted."""
    try:
        week = _week(request)
    except BadQuestion as error:
        return _refused(request, str(error))
    return _shown(request, week)


def pdf(request: HttpRequest) -> HttpResponseBase:
    paper = request.GET.get("paper") or PAPERS[0]
    if paper not in PAPERS:
        return _refused(request, _("The paper must be one of %s.") % ", ".join(PAPERS))
    try:
        week = _week(request)
    except BadQuestion as error:
        return _refused(request, str(error))
    try:
        content = weekly_pdf(week, paper=paper)
    except NotSet as error:
        log.error("The PDF of the overdue report could not be made: %s", error.detail)
        return _shown(request, week, problem=str(error), status=503)
    return HttpResponse(content, content_type="application/pdf", headers=_named(week, "pdf", "inline"))


def csv(request: HttpRequest) -> HttpResponseBase:
    try:
        week = _week(request)
    except BadQuestion as error:
        return _refused(request, str(error))
    return StreamingHttpResponse(
        csv_lines(week.report), content_type="text/csv; charset=utf-8", headers=_named(week, "csv")
    )


def xlsx(request: HttpRequest) -> HttpResponseBase:
    try:
        week = _week(request)
    except BadQuestion as error:
        return _refused(request, str(error))
    workbook = BytesIO()
    write_workbook(week.report, workbook)
    return HttpResponse(workbook.getvalue(), content_type=XLSX, headers=_named(week, "xlsx"))


def json(request: HttpRequest) -> JsonResponse:
    try:
        week = _week(request)
    except BadQuestion as error:
        fields = {error.field: str(error)}
        problem = {"code": "bad_question", "message": str(error), "fields": fields}
        return JsonResponse({"error": problem}, status=400)
    return JsonResponse(weekly_json(week), json_dumps_params={"ensure_ascii": False})


def _week(request: HttpRequest) -> Weekly:
    """The report of the day asked for, on the gear that this person may see. Raises BadQuestion."""
    asked = question_in(request.GET.get("as_of", ""))
    assert isinstance(request.user, User)  # the gate lets nobody else in
    return queries.weekly(asked, scope=scope_of(request.user))


def _shown(request: HttpRequest, week: Weekly, *, problem: str = "", status: int = 200) -> HttpResponse:
    report = week.report
    told = tell(report, phones=week.phones, caps=PAGE)
    typed = request.GET.get("as_of", "")
    context: dict[str, Any] = {
        "beside": tell_beside(week),
        "not_returned": week.old_pairs,
        "told": told,
        "title": told.title,
        "as_of": report.heading.as_of.isoformat(),
        "query": f"?{urlencode({'as_of': typed})}" if typed else "",
        "a4": f"?{urlencode({'as_of': typed, 'paper': 'a4'} if typed else {'paper': 'a4'})}",
        "problem": problem,
        "lab": week.lab,
    }
    return render(request, "reports/overdue_report.html", context, status=status)


def _refused(request: HttpRequest, problem: str) -> HttpResponse:
    """The page without a report: never one of another day than was asked for."""
    context = {"title": TITLE, "as_of": request.GET.get("as_of", ""), "problem": problem, "refused": True}
    return render(request, "reports/overdue_report.html", context, status=400)


def _named(week: Weekly, ending: str, disposition: str = "attachment") -> dict[str, str]:
    demo = "DEMO-" if settings.DEMO else ""
    name = f"{demo}overdue-{week.report.heading.as_of.isoformat()}.{ending}"
    return {"Content-Disposition": f'{disposition}; filename="{name}"'}
