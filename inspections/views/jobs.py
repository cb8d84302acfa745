"""The job check: choose a truck, say what the job is, read what fits and what does not; and read it again later."""

from __future__ import annotations

from typing import Any, cast
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from gear import permissions
from gear.actions.acting import REFUSALS, Act
from gear.actions.submissions import once
from gear.models import Holder, User
from gear.queries import question
from gear.views.sending import refused_in, sent_values
from inspections.actions.jobs import keep_job_check
from inspections.forms.jobs import JobForm, initial_of
from inspections.models import JobCheck
from inspections.queries import jobs as reads
from inspections.rules.job_kept import job_from_json
from inspections.views.job_words import told_check

SHOWN = 12  # trucks of the crew and others; the rest stands in the list


def job(request: HttpRequest) -> HttpResponse:
    """The form of one truck, or the choice of a truck where none is named yet."""
    truck = _truck(request)
    if truck is None:
        return _choose(request)
    asked, before = question(), _before(request)
    form = JobForm(
        request.POST if request.method == "POST" else None,
        today=asked.as_of,
        members=reads.members_of(truck, asked),
        aboard=reads.aboard(truck, asked, then=None),
        kept=before.asked if before else None,
        initial=initial_of(job_from_json(before.asked["job"]) if before else None),
    )
    if request.method != "POST":
        return _form(request, form, truck)
    if not form.is_valid():
        return _form(request, form, truck, status=422)
    try:
        made = _checked(request, form, truck)
    except REFUSALS as error:
        return _form(request, form, truck, status=refused_in(form, error))
    return redirect("job_check", made["check"])


def _checked(request: HttpRequest, form: JobForm, truck: Holder) -> dict[str, Any]:
    person = cast(User, request.user)
    act = Act(person, id=form.cleaned_data["id"])
    body = {"truck": [str(truck.pk)], **sent_values(request, form)}

    def work() -> dict[str, Any]:
        left_out = form.cleaned_data["left_out"]
        return {
            "check": str(
                keep_job_check(form.job(), truck=truck, crew=form.crew(), left_out=left_out, act=act).pk
            )
        }

    answer, _is_new = once(act.id, act="check_job", body=body, by=person, work=work)
    return answer


def check(request: HttpRequest, pk: UUID) -> HttpResponse:
    """A job check as it was told then."""
    row = get_object_or_404(JobCheck.objects.select_related("truck", "by"), pk=pk)
    page = {
        "title": _("Job check: %s") % (row.truck.name if row.truck else _("no truck")),
        **told_check(row),
        "may_check": permissions.can(cast(User, request.user), "check_job"),
    }
    return render(request, "inspections/job_check.html", page)


def _truck(request: HttpRequest) -> Holder | None:
    wanted = request.GET.get("truck", "")
    if not (wanted.isascii() and wanted.isdigit() and len(wanted) < 10):
        return None
    return reads.trucks().filter(pk=int(wanted)).first()


def _before(request: HttpRequest) -> JobCheck | None:
    """The check that is to be changed and made again."""
    try:
        return JobCheck.objects.filter(pk=UUID(request.GET.get("like", ""))).first()
    except ValueError:
        return None


def _choose(request: HttpRequest) -> HttpResponse:
    person, found = cast(User, request.user), list(reads.trucks())
    mine = [one for one in found if person.crew_id and one.crew_id == person.crew_id]
    page = {"title": _("Job check"), "mine": mine, "others": [one for one in found if one not in mine]}
    return render(
        request, "inspections/job_truck.html", page, status=404 if request.GET.get("truck") else 200
    )


def _form(request: HttpRequest, form: JobForm, truck: Holder, *, status: int = 200) -> HttpResponse:
    page = {"title": _("Job check: %s") % truck.name, "form": form, "truck": truck}
    return render(request, "inspections/job.html", page, status=status)
