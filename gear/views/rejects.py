"""Rejected pieces: what waits to be destroyed, red tags, destruction before a witness, and its certificate."""

from __future__ import annotations

import logging
from typing import Any, cast
from uuid import UUID, uuid4

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from gear import permissions, wording
from gear.actions.acting import REFUSALS, Act
from gear.actions.destruction import destroy_batch
from gear.actions.submissions import once
from gear.forms.destruction import DestructionForm
from gear.models import User
from gear.pdf import NotSet
from gear.pdf.rejects import PAPERS, Heading, certificate_pdf, red_tags_pdf
from gear.queries import rejects as reads
from gear.queries.photos import by_entry
from gear.views.moments import moment
from gear.views.sending import refused_in, sent_values

log = logging.getLogger(__name__)


def rejects(request: HttpRequest) -> HttpResponse:
    return _list(request)


def _list(request: HttpRequest, *, problem: str = "", status: int = 200) -> HttpResponse:
    found, person = reads.waiting(timezone.localdate()), cast(User, request.user)
    taken = by_entry([one.item for one in found], to=person, depot=permissions.bound_to(person))
    page = {
        "title": _("Rejects"),
        "rows": [
            {
                "reject": one,
                "since": wording.day(one.since),
                "photos": [photo for entry in one.entries for photo in taken.get(UUID(entry), ())],
            }
            for one in found
        ],
        "total": reads.count_waiting(),
        "batches": [{"row": one, "on": moment(one.destroyed_at)} for one in reads.batches()],
        "may_destroy": permissions.can(request.user, "destroy"),
        "problem": problem,
    }
    return render(request, "gear/rejects.html", page, status=status)


def red_tags(request: HttpRequest) -> HttpResponse:
    """Tags for the pieces named by `item`, or for all that wait; only for what is rejected."""
    paper = _paper(request)
    wanted = request.GET.getlist("item") or None
    found = reads.waiting(timezone.localdate(), item_nos=wanted)
    if not paper or not found:
        problem = (
            _("The paper must be one of %s.") % ", ".join(PAPERS) if not paper else _("Nothing is rejected.")
        )
        return _list(request, problem=problem, status=400)
    try:
        content = red_tags_pdf(found, heading=_heading(), paper=paper)
    except NotSet as error:
        log.error("Red tags could not be set: %s", error.detail)
        return _list(request, problem=str(error), status=503)
    return _file(content, "red-tags.pdf")


def add_destruction(request: HttpRequest) -> HttpResponse:
    """Choose or scan the pieces; the witness confirms; all are destroyed as one act or none."""
    person = cast(User, request.user)
    if request.method != "POST":
        form = DestructionForm(by=person, item_nos=request.GET.getlist("item")[:200], initial={"id": uuid4()})
        return _form(request, form)
    form = DestructionForm(request.POST, by=person, item_nos=request.POST.getlist("pieces")[:200])
    if not form.is_valid():
        return _form(request, form, status=422)
    stated = form.cleaned_data
    doing = Act(person, id=stated["id"])

    def work() -> dict[str, Any]:
        batch = destroy_batch(
            form.items,
            witness=stated["witness"],
            secret=stated["secret"],
            reason=stated["reason"],
            act=doing,
        )
        return {"number": batch.number}

    try:
        body = sent_values(request, form)
        done, _is_new = once(doing.id, act="destroy_batch", body=body, by=person, work=work)
    except REFUSALS as error:
        return _form(request, form, status=refused_in(form, error))
    return redirect("destruction", done["number"])


def _form(request: HttpRequest, form: DestructionForm, *, status: int = 200) -> HttpResponse:
    return render(
        request, "gear/destruction_add.html", {"title": _("Destroy rejects"), "form": form}, status=status
    )


def destruction(request: HttpRequest, number: int) -> HttpResponse:
    """One batch as the record has it, with the line that its certificate shows."""
    return _batch_page(request, _batch(number))


def _batch_page(
    request: HttpRequest, batch: reads.Batch, *, problem: str = "", status: int = 200
) -> HttpResponse:
    page = {
        "title": _("Destruction %s") % batch.row,
        "batch": batch,
        "destroyed_on": moment(batch.row.destroyed_at),
        "problem": problem,
    }
    return render(request, "gear/destruction.html", page, status=status)


def certificate(request: HttpRequest, number: int) -> HttpResponse:
    batch, paper = _batch(number), _paper(request)
    if not paper:
        return _batch_page(
            request, batch, problem=_("The paper must be one of %s.") % ", ".join(PAPERS), status=400
        )
    destroyed_on = moment(batch.row.destroyed_at)
    try:
        content = certificate_pdf(batch, destroyed_on=destroyed_on, heading=_heading(), paper=paper)
    except NotSet as error:
        log.error("A certificate of destruction could not be set: %s", error.detail)
        return _batch_page(request, batch, problem=str(error), status=503)
    return _file(content, f"destruction-{batch.row}.pdf")


def _batch(number: int) -> reads.Batch:
    batch = reads.batch(number)
    if batch is None:
        raise Http404(_("There is no such batch."))
    return batch


def _paper(request: HttpRequest) -> str:
    paper = request.GET.get("paper") or PAPERS[0]
    return paper if paper in PAPERS else ""


def _heading() -> Heading:
    return Heading(moment(timezone.now()), settings.TIME_ZONE, settings.SITE_NAME, settings.DEMO)


def _file(content: bytes, name: str) -> HttpResponse:
    named = f'inline; filename="{"DEMO-" if settings.DEMO else ""}{name}"'
    return HttpResponse(content, content_type="application/pdf", headers={"Content-Disposition": named})
