"""A truck's load sheet and the fallback pack, as PDF."""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import date

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from gear import wording
from gear.models import Holder
from gear.queries import question
from inspections.queries import loads
from inspections.queries.jobs import job_check_of
from inspections.views.job_words import told_check
from reports.pdf import PAPERS, NotSet
from reports.pdf.loadsheet import JobLines, fallback_pack_pdf, load_sheet_pdf
from reports.queries.loadsheet import load_sheet
from reports.wording.loadsheet import Paper, tell

log = logging.getLogger(__name__)
MOST_TRUCKS = 60  # in one PDF; more are made one by one with the command


def sheet(request: HttpRequest, pk: int) -> HttpResponseBase:
    """The load sheet of one truck: ?back=2026-09-20, and ?crew= by key of holder, the whole crew when not given."""
    truck = _truck(pk)
    today = question().as_of
    back = max(_day(request.GET.get("back", "")) or today, today)
    chosen = [
        int(one) for one in request.GET.getlist("crew") if one.isascii() and one.isdigit() and len(one) < 10
    ]
    people = loads.crew_people(truck)
    if "crew" in request.GET:
        people = people.filter(pk__in=chosen)
    asked = question()
    told = tell(
        load_sheet(truck, asked, back_on=back, people=list(people)),
        made_at=asked.asked_at,
        zone=settings.TIME_ZONE,
    )
    job = _job(truck, asked.as_of)
    return _pdf(
        request,
        lambda paper: load_sheet_pdf(told, job=job, paper=paper),
        name=f"load-sheet-{truck.name}",
        pk=pk,
    )


def _job(truck: Holder, on: date) -> JobLines | None:
    """The job check that speaks for the truck on this day, worst first; None where none was made."""
    row = job_check_of(truck, on)
    if row is None:
        return None
    told, local = told_check(row), timezone.localtime(row.at)
    made = {"at": f"{wording.day(local.date())}, {date_format(local, 'H:i')}", "who": row.by.name}
    findings = [one for part in told["parts"] for one in part["findings"]]
    return JobLines(
        _("Job check of %(at)s, %(who)s") % made,
        row.verdict,
        told["words"],
        told["caution"],
        tuple(told["asked"]),
        tuple((one["verdict"] != "good" and one["verdict"] != "note", one["sentence"]) for one in findings),
    )


def packs(request: HttpRequest) -> HttpResponse:
    """Where the packs are made: of one truck, or of all of them."""
    page = {"title": _("Fallback packs"), "trucks": loads.trucks(), "most": MOST_TRUCKS}
    return render(request, "reports/fallback_packs.html", page)


def pack(request: HttpRequest, pk: int) -> HttpResponseBase:
    """The pack of one truck."""
    truck = _truck(pk)
    told = pack_of(truck)
    return _pdf(
        request, lambda paper: fallback_pack_pdf([told], paper=paper), name=f"fallback-{truck.name}", pk=pk
    )


def pack_of(truck: Holder, day: date | None = None) -> Paper:
    """The pack of a truck for a day from today on, with everybody of its crew."""
    asked = question(day)
    people = list(loads.crew_people(truck))
    return tell(
        load_sheet(truck, asked, back_on=asked.as_of, people=people),
        made_at=asked.asked_at,
        zone=settings.TIME_ZONE,
    )


def _truck(pk: int) -> Holder:
    return get_object_or_404(Holder.objects.select_related("crew", "depot"), pk=pk, kind="truck")


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _pdf(request: HttpRequest, make: Callable[[str], bytes], *, name: str, pk: int) -> HttpResponseBase:
    paper = request.GET.get("paper") or PAPERS[0]
    if paper not in PAPERS:
        return HttpResponse(
            _("The paper must be one of %s.") % ", ".join(PAPERS), status=400, content_type="text/plain"
        )
    try:
        content = make(paper)
    except NotSet as error:
        log.error("The PDF %s could not be made: %s", name, error.detail)
        messages.error(request, str(error))
        return redirect("truck", pk=pk)
    safe = "".join(
        symbol if symbol.isascii() and (symbol.isalnum() or symbol in "-_") else "-" for symbol in name
    )
    headers = {"Content-Disposition": f'inline; filename="{"DEMO-" if settings.DEMO else ""}{safe}.pdf"'}
    return HttpResponse(content, content_type="application/pdf", headers=headers)
