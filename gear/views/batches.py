"""What was held as one act, and the way back: every hold of a batch taken off as one act by another supervisor."""

from __future__ import annotations

import logging
from typing import Any, cast
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import permissions, queries
from gear.actions.acting import REFUSALS, Act
from gear.actions.batches import release_all
from gear.actions.submissions import once
from gear.forms.batches import ReleaseForm
from gear.models import ABOUT_NAMES, HoldBatch, User
from gear.pdf import NotSet
from gear.queries.batches import batch_page, items_of, still_held, undone
from gear.queries.whereabouts import pieces
from gear.views.sending import refused_in, sent_values
from gear.views.whereabouts import file_answer, listing, on_paper, paper_of

log = logging.getLogger(__name__)


def batches(request: HttpRequest) -> HttpResponse:
    """Every act that held many pieces, newest first, with how many it still holds."""
    typed = request.GET.get("page", "")
    rows, page, pages = batch_page(
        int(typed) if typed.isascii() and typed.isdigit() and len(typed) < 7 else 1
    )
    shown = [{"row": row, "about": ABOUT_NAMES[row.batch.about]} for row in rows]
    told = {"title": _("Held as one act"), "batches": shown, "page": page, "pages": pages}
    return render(request, "gear/batches.html", told)


def batch(request: HttpRequest, batch_no: str) -> HttpResponse:
    """One batch: what it still holds, by crew and holder, and the form that releases all of it."""
    row = get_object_or_404(HoldBatch.objects.select_related("by"), number=batch_no)
    if request.method == "POST":
        return _release(request, row)
    return _page(request, row)


def batch_pdf(request: HttpRequest, batch_no: str) -> HttpResponse:
    """What a batch still holds, on paper, with boxes to tick."""
    row, asked = (
        get_object_or_404(HoldBatch.objects.select_related("by"), number=batch_no),
        queries.question(),
    )
    title = _("On hold: batch %s") % row.number
    try:
        content = on_paper(
            pieces(still_held(row), asked), asked, title=title, lead=[row.reason, _placed(row)], paper=paper_of(request)
        )  # fmt: skip
    except NotSet as error:
        log.error("The list of batch %s could not be set: %s", row.number, error.detail)
        return _page(request, row, problem=str(error), status=503)
    return file_answer(content, f"hold-{row.number}")


def _placed(row: HoldBatch) -> str:
    name = row.by.name if row.by else _("the system")
    words = _("Held by %(name)s: %(count)d pieces as one act.")
    return words % {"name": name, "count": row.pieces}


def _release(request: HttpRequest, row: HoldBatch) -> HttpResponse:
    form, person = ReleaseForm(request.POST), cast(User, request.user)
    if not form.is_valid():
        return _page(request, row, form=form, status=422)
    act = Act(person, id=form.cleaned_data["id"])

    def work() -> dict[str, Any]:
        done = release_all(row, reason=form.cleaned_data["reason"], act=act)
        return {"released": done.count, "destroyed": list(done.destroyed)}

    try:
        body = {"batch": row.number, **sent_values(request, form)}
        answer, _new = once(act.id, act="release_batch", body=body, by=person, work=work)
    except REFUSALS as error:
        return _page(request, row, form=form, status=refused_in(form, error))
    told = ngettext(
        "%(count)d hold of %(number)s was released. Holds placed for other reasons stay.",
        "%(count)d holds of %(number)s were released. Holds placed for other reasons stay.",
        answer["released"],
    )
    messages.success(request, told % {"count": answer["released"], "number": row.number})
    if answer["destroyed"]:
        gone = _("Destroyed meanwhile, and left as they are: %s.")
        messages.warning(request, gone % ", ".join(answer["destroyed"]))
    return redirect("batch", row.number)


def _page(
    request: HttpRequest,
    row: HoldBatch,
    *,
    form: ReleaseForm | None = None,
    problem: str = "",
    status: int = 200,
) -> HttpResponse:
    held, everything = still_held(row), items_of(row)
    person = cast(User, request.user)
    may, own = permissions.can(person, "release_batch"), row.by_id == person.pk
    asked = queries.question()
    told = {
        "title": _("Held as one act: %s") % row.number,
        "batch": row,
        "about": ABOUT_NAMES[row.about],
        "list": listing(pieces(held, asked)),
        "released": len(everything) - len(held),
        "undone": undone(row),
        "form": (form or ReleaseForm(initial={"id": uuid4()})) if may and held and not own else form,
        "own": own and may and bool(held),
        "problem": problem,
    }
    return render(request, "gear/batch.html", told, status=status)
