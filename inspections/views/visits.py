"""Visitors' gear: who is here, one crew from its first row to its last piece, and its slip."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Any, cast
from uuid import uuid4

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import permissions
from gear.actions.acting import REFUSALS
from gear.models import User
from gear.pdf import NotSet
from gear.queries import question
from gear.views.sending import refused_in
from inspections import queries
from inspections.actions import checking_in, leaving
from inspections.actions import visits as paper
from inspections.forms import visits as forms
from inspections.models import Visit
from inspections.pdf.visit_slip import PAPERS, visit_slip_pdf
from inspections.queries import Brought
from inspections.rules import visiting
from inspections.views.carton import did
from inspections.views.visit_words import piece_words, row_words

log = logging.getLogger(__name__)


def visits(request: HttpRequest) -> HttpResponse:
    """The crews that are here, and the start of another visit."""
    form = forms.StartVisitForm(
        request.POST or None, initial={"id": uuid4(), "expected_until": paper.today()}
    )
    if request.method != "POST" or not form.is_valid():
        return _list(request, form, status=422 if form.is_bound else 200)
    stated = form.stated()
    try:
        made = did(
            request,
            form,
            "start_visit",
            lambda act: {"number": paper.start(**stated, act=act).number},
        )
    except REFUSALS as error:
        return _list(request, form, status=refused_in(form, error))
    return redirect("visit", made["number"])


def _list(request: HttpRequest, form: forms.StartVisitForm, *, status: int) -> HttpResponse:
    here, over = queries.visits()
    may = permissions.can(cast(User, request.user), "take_in_others")
    page = {"title": _("Visitors' gear"), "here": here, "over": over, "form": form if may else None}
    return render(request, "inspections/visits.html", page, status=status)


def visit(request: HttpRequest, number: str) -> HttpResponse:
    """One crew: keyed, checked in, seen off. What is refused is told beside its field or its row."""
    if request.method != "POST":
        return show(request, number)
    deed = DEEDS.get(request.POST.get("do", ""))
    if deed is None or queries.visit(number) is None:
        raise Http404(_("There is nothing of that name to do."))
    return deed(request, number)


def show(request: HttpRequest, number: str, *, status: int = 200, **sent: Any) -> HttpResponse:
    """The page of a visit; a form that was refused is shown as it was sent."""
    one = queries.visit(number)
    if one is None:
        raise Http404(_("There is no visit %s.") % number)
    person = cast(User, request.user)
    brought = queries.brought(one, question())
    planned = checking_in.plan(one) if one.closed_at is None else None
    rows = queries.rows_of(one)
    unlooked = [row for row in one.rows.select_related("looked_by").order_by("place") if not row.look]
    open_pieces = [piece for piece in brought if piece.open]
    page = {
        "title": f"{one.organisation}, {one.number}",
        "visit": one,
        "may": one.closed_at is None and permissions.can(person, "take_in_others"),
        "may_look": permissions.can(person, "look"),
        "rows": [row_words(row, one, planned.problems.get(row.pk, []) if planned else []) for row in rows],
        "wrong": len(planned.problems) if planned else 0,
        "pieces": [piece_words(piece, one) for piece in brought],
        "good": sum(piece.good for piece in open_pieces),
        "not_good": sum(not piece.good for piece in open_pieces),
        "people": sorted({piece.piece.person for piece in brought}),
        "row": forms.RowForm(initial={"id": uuid4()}),
        "paste": forms.PasteForm(initial={"id": uuid4()}),
        "shared": forms.SharedForm.about(one),
        "do": forms.DoForm(initial={"id": uuid4()}),
        "looks": forms.LooksForm(rows=unlooked, initial={"id": uuid4()}),
        "unlooked": len(unlooked),
        "leave": forms.LeavingForm(numbers=_numbers(open_pieces), initial={"id": uuid4()}),
        "open": len(open_pieces),
        **sent,
    }
    return render(request, "inspections/visit.html", page, status=status)


def _numbers(pieces: list[Brought]) -> list[str]:
    return [one.item.item_no for one in pieces]


def slip(request: HttpRequest, number: str) -> HttpResponse:
    """The slip of a crew, of one person (?person=), or a page for each (?each=1), on Letter or (?paper=a4) A4."""
    one, size = queries.visit(number), request.GET.get("paper") or PAPERS[0]
    if one is None or size not in PAPERS:
        raise Http404(_("There is no slip of %s on that paper.") % number)
    person = request.GET.get("person")
    brought = queries.brought(one, question(), person=person)
    if not brought:
        raise Http404(_("Nothing is checked in."))
    try:
        content = visit_slip_pdf(one, brought, paper=size, each=bool(request.GET.get("each")))
    except NotSet as error:
        log.error("The slip of a visit could not be made: %s", error.detail)
        messages.error(request, str(error))
        return redirect("visit", number)
    name = f"{'DEMO-' if settings.DEMO else ''}checked-in-{number}.pdf"
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return HttpResponse(content, content_type="application/pdf", headers=headers)


def _row(request: HttpRequest, number: str) -> HttpResponse:
    form = forms.RowForm(request.POST)
    if not form.is_valid():
        return show(request, number, row=form, status=422)
    cells = form.cells()
    if not any(cells.values()):
        form.add_error("person", _("Key a name or a number first."))
        return show(request, number, row=form, status=422)
    return _kept(request, number, form, "row", [cells])


def _paste(request: HttpRequest, number: str) -> HttpResponse:
    form = forms.PasteForm(request.POST)
    if not form.is_valid():
        return show(request, number, paste=form, status=422)
    rows, problems = visiting.pasted(form.cleaned_data["paste"])
    for problem in problems:
        form.add_error("paste", checking_in.sentence_of(problem))
    if problems:
        return show(request, number, paste=form, status=422)
    return _kept(request, number, form, "paste", rows)


def _kept(
    request: HttpRequest, number: str, form: Any, name: str, rows: list[dict[str, str]]
) -> HttpResponse:
    try:
        made = did(
            request,
            form,
            f"visit_{name}",
            lambda act: {"rows": len(paper.keep_rows(number, rows, act=act))},
        )
    except REFUSALS as error:
        return show(request, number, status=refused_in(form, error), **{name: form})
    count = made["rows"]
    told = ngettext("%(count)d row is kept.", "%(count)d rows are kept.", count) % {"count": count}
    messages.success(request, told)
    return redirect("visit", number)


def _shared(request: HttpRequest, number: str) -> HttpResponse:
    form = forms.SharedForm(request.POST)
    if not form.is_valid():
        return show(request, number, shared=form, status=422)
    stated = form.stated()

    def work(act: Any) -> dict[str, Any]:
        return {"number": paper.state_for_all(number, **stated, act=act).number}

    return _done(request, number, form, "shared", work, _("Kept."))


def _strike(request: HttpRequest, number: str) -> HttpResponse:
    form = forms.DoForm(request.POST)
    if not form.is_valid() or not form.cleaned_data["row"]:
        raise Http404(_("There is nothing of that name to do."))

    def work(act: Any) -> dict[str, Any]:
        paper.strike(number, form.cleaned_data["row"], act=act)
        return {}

    return _done(request, number, form, "do", work, _("The row is gone."))


def _looks(request: HttpRequest, number: str) -> HttpResponse:
    one = cast(Visit, queries.visit(number))
    form = forms.LooksForm(request.POST, rows=list(one.rows.filter(look="").order_by("place")))
    if not form.is_valid():
        return show(request, number, looks=form, status=422)
    looks = form.looks()

    def work(act: Any) -> dict[str, Any]:
        paper.looked(number, looks, act=act)
        return {}

    return _done(request, number, form, "looks", work, _("The looks are kept in your name."))


def _check_in(request: HttpRequest, number: str) -> HttpResponse:
    form = forms.DoForm(request.POST)
    if not form.is_valid():
        raise Http404(_("There is nothing of that name to do."))

    def work(act: Any) -> dict[str, Any]:
        return {"number": checking_in.check_in(number, act=act).number}

    return _done(
        request, number, form, "do", work, _("Checked in. Each piece says what may be done with it.")
    )


def _leave(request: HttpRequest, number: str) -> HttpResponse:
    one = cast(Visit, queries.visit(number))
    numbers = _numbers([piece for piece in queries.brought(one, question()) if piece.open])
    form = forms.LeavingForm(request.POST, numbers=numbers)
    if not form.is_valid():
        return show(request, number, leave=form, status=422)
    wanted, reason = form.cleaned_data["pieces"], form.cleaned_data["reason"] or ""

    def work(act: Any) -> dict[str, Any]:
        if request.POST.get("do") == "missing":
            leaving.missing(number, wanted, reason=reason, act=act)
        else:
            leaving.hand_back(number, wanted, act=act)
        return {}

    return _done(request, number, form, "leave", work, _("Recorded."))


def _done(
    request: HttpRequest,
    number: str,
    form: Any,
    name: str,
    work: Callable[[Any], dict[str, Any]],
    told: str,
) -> HttpResponse:
    act = f"visit_{request.POST.get('do', '')}"
    try:
        did(request, form, act, work)
    except REFUSALS as error:
        status = refused_in(form, error)
        if name == "do":
            messages.error(request, str(error))
            form = forms.DoForm(initial={"id": uuid4()})
        return show(request, number, status=status, **{name: form})
    messages.success(request, told)
    return redirect("visit", number)


DEEDS: dict[str, Callable[[HttpRequest, str], HttpResponse]] = {
    "row": _row,
    "paste": _paste,
    "shared": _shared,
    "strike": _strike,
    "looks": _looks,
    "check_in": _check_in,
    "leave": _leave,
    "missing": _leave,
}
