"""A maker's notice: what it is about, where that is now, and all of it held as one act."""

from __future__ import annotations

import logging
from typing import Any, cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from gear import permissions, queries
from gear.actions.acting import REFUSALS, Act, Refused
from gear.actions.batches import Cause, hold_all
from gear.actions.submissions import once
from gear.forms.batches import HoldForm, NoticeForm, listed, subject_of
from gear.models import HoldBatch, User
from gear.pdf import NotSet
from gear.queries.recall import Recalled, names_on_file, recalled
from gear.queries.whereabouts import items_in, pieces
from gear.rules.recall import Notice
from gear.rules.whereabouts import Found
from gear.views.sending import refused_in, sent_values
from gear.views.whereabouts import file_answer, hold_form, listing, mark_of, on_paper, paper_of, pieces_word

log = logging.getLogger(__name__)
TITLE = gettext_lazy("Recall")


def recall(request: HttpRequest) -> HttpResponse:
    """What the notice names, what belongs to it by crew and holder, and the form that holds all of it."""
    form = _form(request)
    if not form.is_bound or not form.is_valid():
        return _page(request, form, status=400 if form.is_bound else 200)
    notice = form.notice()
    found = recalled(notice)
    belonging = pieces(found.pks, queries.question())
    if request.method == "POST":
        return _hold(request, form, notice, found, belonging)
    return _page(request, form, found=found, belonging=belonging)


def recall_pdf(request: HttpRequest) -> HttpResponse:
    """The same list on paper."""
    form = _form(request)
    if not form.is_bound or not form.is_valid():
        return _page(request, form, status=400)
    notice, asked = form.notice(), queries.question()
    found = recalled(notice)
    belonging = pieces(found.pks, asked)
    lead = [subject_of(notice), *_doubts(found)]
    try:
        content = on_paper(
            _held(belonging), asked, title=_("Recall: what belongs to it"), lead=lead, paper=paper_of(request)
        )
    except NotSet as error:
        log.error("The recall list could not be set: %s", error.detail)
        return _page(request, form, found=found, belonging=belonging, problem=str(error), status=503)
    return file_answer(content, f"recall-{asked.as_of.isoformat()}")


def _form(request: HttpRequest) -> NoticeForm:
    names = names_on_file()
    asked = {name for name in NoticeForm.base_fields if request.GET.get(name)}
    return NoticeForm(request.GET if asked else None, names=names)


def _held(belonging: list[Found]) -> list[Found]:
    return [one for one in belonging if one.can_be_held]


def _hold(
    request: HttpRequest, form: NoticeForm, notice: Notice, found: Recalled, belonging: list[Found]
) -> HttpResponse:
    sent, person = HoldForm(request.POST), cast(User, request.user)
    asked = {name: request.GET.getlist(name) for name in form.fields if request.GET.get(name)}
    if not sent.is_valid():
        return _page(request, form, found=found, belonging=belonging, hold=sent, status=422)

    def work() -> dict[str, Any]:
        chosen = _held(belonging)
        if mark_of(chosen) != sent.cleaned_data["shown"]:
            raise Refused("LIST_CHANGED")
        batch = hold_all(
            items_in(chosen),
            cause=Cause("recall", subject_of(notice), asked),
            reason=sent.cleaned_data["reason"],
            act=Act(person, id=sent.cleaned_data["id"]),
        )
        return {"batch": batch.number}

    return held(
        request,
        sent,
        {**asked, **sent_values(request, sent)},
        work,
        lambda status: _page(request, form, found=found, belonging=belonging, hold=sent, status=status),
    )


def held(request: HttpRequest, sent: HoldForm, body: dict[str, Any], work: Any, again: Any) -> HttpResponse:
    """Do `work`, which holds a list, once; then the page of its batch. `again` shows the list with what was refused."""
    person, client_id = cast(User, request.user), sent.cleaned_data["id"]
    try:
        answer, _new = once(client_id, act="hold_batch", body=body, by=person, work=work)
    except REFUSALS as error:
        return again(refused_in(sent, error))
    batch = HoldBatch.objects.get(number=answer["batch"])
    done = ngettext(
        "%(count)d piece is on hold as %(number)s.",
        "%(count)d pieces are on hold as %(number)s.",
        batch.pieces,
    )
    messages.success(request, done % {"count": batch.pieces, "number": batch.number})
    return redirect("batch", batch.number)


def _doubts(found: Recalled) -> list[str]:
    """How many pieces may belong and are left out, and what their records lack."""
    sentences = []
    for lacking, count in sorted(found.in_doubt.items(), key=lambda pair: (-pair[1], pair[0])):
        words = ngettext(
            "%(count)d piece agrees in all that it states, but has no %(fields)s on record and may belong to it.",
            "%(count)d pieces agree in all that they state, but have no %(fields)s on record and may belong to it.",
            count,
        )
        sentences.append(words % {"count": count, "fields": listed(lacking)})
    return sentences


def _page(
    request: HttpRequest,
    form: NoticeForm,
    *,
    found: Recalled | None = None,
    belonging: list[Found] | None = None,
    hold: HoldForm | None = None,
    problem: str = "",
    status: int = 200,
) -> HttpResponse:
    page: dict[str, Any] = {"title": TITLE, "form": form, "names": names_on_file(), "problem": problem}
    if found is not None and belonging is not None:
        chosen = _held(belonging)
        if hold is not None:
            hold.data = {**hold.data.dict(), "shown": mark_of(chosen)}
        page |= {
            "list": listing(chosen),
            "subject": subject_of(form.notice()),
            "doubts": _doubts(found),
            "left_out": pieces_word(len(belonging) - len(chosen)) if len(belonging) > len(chosen) else "",
            "hold": (hold or hold_form(chosen)) if permissions.can(request.user, "hold_batch") else None,
            "query": request.GET.urlencode(),
        }
    return render(request, "gear/recall.html", page, status=status)
