"""Trucks as barriers: which boom tests run out when, what was entered about each, and its job checks."""

from __future__ import annotations

from datetime import date
from typing import Any, cast
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from gear import permissions, wording
from gear.actions.acting import REFUSALS, Act
from gear.actions.submissions import once
from gear.models import Holder, User
from gear.queries import question
from gear.views.sending import refused_in, sent_values
from inspections.actions.jobs import record_truck
from inspections.forms.jobs import TruckForm
from inspections.models import TruckRecord
from inspections.queries import jobs as reads
from inspections.views.job_words import kilovolts, verdict_words

CHECKS_SHOWN = 20


def booms(request: HttpRequest) -> HttpResponse:
    """Every truck with its newest record: what is missing or over first, then by day."""
    today, records = question().as_of, reads.newest_records()
    rows = [_row(one, records.get(one.pk), today) for one in reads.trucks()]
    rows.sort(key=lambda one: (one["rank"], one["truck"].name))
    return render(request, "inspections/booms.html", {"title": _("Booms"), "rows": rows})


def boom(request: HttpRequest, pk: int) -> HttpResponse:
    """One truck: its history, its job checks, and for the office the form that adds a record."""
    shown = get_object_or_404(reads.trucks(), pk=pk)
    if request.method != "POST":
        return _page(request, shown, TruckForm(initial={"id": uuid4()}))
    form = TruckForm(request.POST)
    if not form.is_valid():
        return _page(request, shown, form, status=422)
    person = cast(User, request.user)
    act = Act(person, id=form.cleaned_data["id"])

    def work() -> dict[str, Any]:
        note = form.cleaned_data["note"] or ""
        return {"record": str(record_truck(shown, form.facts(shown.name), note=note, act=act).pk)}

    try:
        once(
            act.id,
            act="record_truck",
            body={"truck": [str(pk)], **sent_values(request, form)},
            by=person,
            work=work,
        )
    except REFUSALS as error:
        return _page(request, shown, form, status=refused_in(form, error))
    messages.success(request, _("%s: the record is kept.") % shown.name)
    return redirect("boom", pk)


def _page(request: HttpRequest, shown: Holder, form: TruckForm, *, status: int = 200) -> HttpResponse:
    today, records = question().as_of, list(reads.records_of(shown))
    checks = reads.checks_of(shown)[:CHECKS_SHOWN]
    person = cast(User, request.user)
    page = {
        "title": _("Boom of %s") % shown.name,
        "truck": shown,
        "now": _row(shown, records[0] if records else None, today),
        "records": [_told(one) for one in records],
        "checks": [{"row": one, "words": verdict_words(one)} for one in checks],
        "form": form if permissions.can(person, "record_truck") else None,
        "may_check": permissions.can(person, "check_job"),
    }
    return render(request, "inspections/boom.html", page, status=status)


def _told(row: TruckRecord) -> dict[str, Any]:
    return {
        "row": row,
        "rated": kilovolts(row.boom_rated_v) if row.boom_rated_v else "",
        "boom": wording.day(row.boom_good_through) if row.boom_good_through else "",
        "liner": wording.day(row.liner_good_through) if row.liner_good_through else "",
    }


def _row(one: Holder, record: TruckRecord | None, today: date) -> dict[str, Any]:
    """A truck with the badge of its dates: `unknown` where something is not on record."""
    if record is None:
        return {"truck": one, "verdict": "unknown", "words": _("nothing on record"), "rank": (0, today)}
    told = {"truck": one, **_told(record)}
    if not record.insulated:
        return {**told, "verdict": "", "words": _("not insulated"), "rank": (3, today)}
    days = [record.boom_good_through, *([record.liner_good_through] if record.has_liner else [])]
    if None in days or record.boom_rated_v is None:
        return {**told, "verdict": "unknown", "words": _("not complete"), "rank": (0, today)}
    last = min(day for day in days if day)
    if last < today:
        return {**told, "verdict": "stop", "words": _("out since %s") % wording.day(last), "rank": (1, last)}
    return {**told, "verdict": "good", "words": _("good through %s") % wording.day(last), "rank": (2, last)}
