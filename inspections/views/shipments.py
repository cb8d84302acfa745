"""Cartons to a lab: the list, one carton from its first scan to its last line, and its slip."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Any, cast

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import permissions
from gear.actions.acting import REFUSALS
from gear.models import Item, User
from gear.pdf import NotSet
from gear.views.sending import refused_in
from inspections import queries
from inspections.actions import shipments as packing
from inspections.forms.shipping import LineForm, PlanForm, ScanForm, SendForm, StartForm
from inspections.pdf.slip import PAPERS, slip_pdf
from inspections.views import reconciling
from inspections.views.carton import did, piece_meant, show

log = logging.getLogger(__name__)


def shipments(request: HttpRequest) -> HttpResponse:
    """Every open carton, the longest awaited first; for the clerk, the start of another."""
    if request.method != "POST":
        return _list(request, StartForm.blank(packing.today()))
    form = StartForm(request.POST)
    if not form.is_valid():
        return _list(request, form, status=422)
    try:
        made = did(
            request,
            form,
            "start_shipment",
            lambda act: {"number": packing.start(**form.stated(), act=act).number},
        )
    except REFUSALS as error:
        return _list(request, form, status=refused_in(form, error))
    return redirect("shipment", made["number"])


def _list(request: HttpRequest, form: StartForm, *, status: int = 200) -> HttpResponse:
    given = request.GET.get("page", "")
    number = max(1, int(given)) if given.isdecimal() and len(given) < 6 else 1
    found, today = queries.shipments(number), packing.today()
    page = {
        "title": _("Lab shipments"),
        "away": [(one, queries.days_late(one, today)) for one in found.away],
        "in_hand": found.in_hand,
        "closed": found.closed,
        "earlier": number - 1,
        "later": number + 1 if found.more else 0,
        "form": form if permissions.can(cast(User, request.user), "ship") else None,
        "has_lab": form.fields["lab"].queryset.exists(),
    }
    return render(request, "inspections/shipments.html", page, status=status)


def shipment(request: HttpRequest, number: str) -> HttpResponse:
    """One carton: scanned into, sent, reconciled, closed. What is refused is told beside its field."""
    if request.method != "POST":
        return show(request, number)
    deed = DEEDS.get(request.POST.get("do", ""))
    if deed is None:
        raise Http404(_("There is nothing of that name to do."))
    return deed(request, number)


def slip(request: HttpRequest, number: str) -> HttpResponse:
    """The packing slip with its return copy, as a PDF on Letter or, with ?paper=a4, on A4."""
    paper = request.GET.get("paper") or PAPERS[0]
    found = queries.carton(number)
    if found is None or paper not in PAPERS:
        raise Http404(_("There is no slip of %s on that paper.") % number)
    try:
        content = slip_pdf(found, paper=paper)
    except NotSet as error:
        log.error("The slip of a shipment could not be made: %s", error.detail)
        messages.error(request, str(error))
        return redirect("shipment", number)
    name = f"{'DEMO-' if settings.DEMO else ''}slip-{number}.pdf"
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return HttpResponse(content, content_type="application/pdf", headers=headers)


def _scan(request: HttpRequest, number: str) -> HttpResponse:
    form = ScanForm(request.POST)
    if not form.is_valid():
        return show(request, number, scan=form, status=422)
    item, old_label = piece_meant(form)
    if item is None:
        if not form.errors:
            sentence = _("Nothing in the book fits %s. What is not in the book is received first.")
            form.add_error("piece", sentence % form.cleaned_data["piece"])
        return show(request, number, scan=form, status=404)
    note = form.cleaned_data["note"] or ""
    try:
        did(request, form, "pack", lambda act: {"line": packing.scan(number, item, note=note, act=act).pk})
    except REFUSALS as error:
        return show(request, number, scan=form, status=refused_in(form, error))
    if old_label:
        sentence = _("The label on %s was replaced; it has a newer one. Compare the marks on the piece.")
        messages.warning(request, sentence % item.item_no)
    _acknowledge(request, number, item)
    return redirect("shipment", number)


def _acknowledge(request: HttpRequest, number: str, item: Item) -> None:
    count = queries.pieces_in(number)
    sentence = ngettext(
        "%(item)s is in: %(what)s. %(count)d piece.", "%(item)s is in: %(what)s. %(count)d pieces.", count
    )
    messages.success(request, sentence % {"item": item.item_no, "what": item.item_type, "count": count})


def _undo(request: HttpRequest, number: str) -> HttpResponse:
    form = LineForm(request.POST)
    item = Item.objects.filter(item_no=request.POST.get("item_no", "")).first()
    if not form.is_valid() or item is None:
        raise Http404(_("That piece is not in the carton."))

    def work(act: Any) -> dict[str, str]:
        packing.undo(number, item, act=act)
        return {"item_no": item.item_no}

    try:
        did(request, form, "unpack", work)
    except REFUSALS as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("%s is out of the carton again.") % item.item_no)
    return redirect("shipment", number)


def _plan(request: HttpRequest, number: str) -> HttpResponse:
    form = PlanForm(request.POST)
    if not form.is_valid():
        return show(request, number, plan=form, status=422)
    stated = form.stated()
    try:
        did(
            request,
            form,
            "plan_shipment",
            lambda act: {"number": packing.change(number, **stated, act=act).number},
        )
    except REFUSALS as error:
        return show(request, number, plan=form, status=refused_in(form, error))
    messages.success(request, _("Kept. The slip says so from now on."))
    return redirect("shipment", number)


def _send(request: HttpRequest, number: str) -> HttpResponse:
    form = SendForm(request.POST)
    if not form.is_valid():
        return show(request, number, send=form, status=422)
    courier = form.cleaned_data["courier_no"] or ""
    try:
        did(
            request,
            form,
            "send_shipment",
            lambda act: {"number": packing.send(number, courier_no=courier, act=act).number},
        )
    except REFUSALS as error:
        return show(request, number, send=form, status=refused_in(form, error))
    sentence = _("%s is sent. Every piece in it is out for test until a test of it is accepted.")
    messages.success(request, sentence % number)
    return redirect("shipment", number)


DEEDS: dict[str, Callable[[HttpRequest, str], HttpResponse]] = {
    "scan": _scan,
    "undo": _undo,
    "plan": _plan,
    "send": _send,
    "back": reconciling.back,
    "missing": reconciling.missing,
    "close": reconciling.close,
}
