"""The weekly reports as they were sent: what, when, to whom, and every attempt; and their very bytes."""

from __future__ import annotations

from typing import Any, cast

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _

from gear.models import User
from gear.views.moments import moment
from reports.models import WeeklyFile, WeeklyReport
from reports.models.mailing import OUTCOME_NAMES
from reports.models.weekly import FILE_TYPES
from reports.permissions import scope_of
from reports.queries import recipients as mailed
from reports.queries.sent_reports import Try, due, is_as_sent, sent_reports, still_to_get, tries
from reports.rules.overdue import Scope
from reports.rules.weeks import MOST_MADE_UP

SHOWN = 53  # a year of weeks and one


def page(request: HttpRequest) -> HttpResponse:
    """Every report that is kept, the newest week first."""
    return _page(request, problem="", status=200)


def file(request: HttpRequest, pk: Any, kind: str) -> HttpResponse:
    """One file as it was sent, or nothing: bytes that do not fit their hash are not given out as what was sent."""
    found = WeeklyFile.objects.select_related("report").filter(report=pk, kind=kind).first()
    if found is None or not _covers(_scope(request), found.report):
        raise Http404(_("There is no such file."))
    if not is_as_sent(found):
        problem = _(
            "%s is not the file that was sent: its bytes do not fit its hash. Have the administrator run verify_ledger."
        )
        return _page(request, problem=problem % found.name, status=500)
    name = "inline" if kind == "pdf" else "attachment"
    headers = {"Content-Disposition": f'{name}; filename="{found.name}"'}
    return HttpResponse(bytes(found.content), content_type=FILE_TYPES[kind], headers=headers)


def _scope(request: HttpRequest) -> Scope:
    return scope_of(cast(User, request.user))


def _covers(scope: Scope, report: WeeklyReport) -> bool:
    return scope.kind == "book" or report.depot == (scope.name or "-")


def _page(request: HttpRequest, *, problem: str, status: int) -> HttpResponse:
    now, scope, current = timezone.now(), _scope(request), mailed.recipients()
    wanted = due(now)
    kept = list(sent_reports(scope, newest=SHOWN))
    weeks = {report.week for report in kept}
    newest = wanted.weeks[-1].label if wanted.weeks else ""
    shown: dict[str, Any] = {
        "title": _("Reports as sent"),
        "problem": problem,
        "reports": [_told(report, current, newest) for report in kept],
        "missing": [one.label for one in wanted.weeks if one.label not in weeks and scope.kind == "book"],
        "passed_over": wanted.passed_over,
        "most": MOST_MADE_UP,
        "hour": mailed.plan().monday_hour,
        "cut": len(kept) == SHOWN,
    }
    return render(request, "reports/weekly_reports.html", shown, status=status)


def _told(report: WeeklyReport, current: list[mailed.Recipient], newest: str) -> dict[str, Any]:
    made = tries(report.attempts.all())
    taken = {one.address.casefold(): one for one in made if one.outcome == "accepted"}
    wanted = still_to_get(report, current, is_newest=report.week == newest)
    return {
        "report": report,
        "depot": report.depot or _("the whole book"),
        "made": moment(report.at),
        "known": moment(report.known_at),
        "late": report.known_at < report.at and report.known_at == report.as_of_at,
        "files": sorted(report.files.all(), key=lambda one: list(FILE_TYPES).index(one.kind)),
        "taken": [(one.address, moment(one.settled_at or one.at)) for one in taken.values()],
        "waiting": [one.address for one in wanted if one.address.casefold() not in taken],
        "tries": [_try(one) for one in made],
        "faulty": ", ".join(report.faulty[:20]),
    }


def _try(one: Try) -> dict[str, Any]:
    words = OUTCOME_NAMES.get(one.outcome) or _(
        "no outcome: the process ended, and the mail may have arrived"
    )
    return {
        "address": one.address,
        "at": moment(one.at),
        "number": one.number,
        "outcome": words,
        "detail": one.detail,
        "message_id": one.message_id,
    }
