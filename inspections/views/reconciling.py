"""Reconcile a carton: each piece that comes back by a scan, what did not come back, and corrections of both."""

from __future__ import annotations

from typing import Any, cast
from uuid import uuid4

from django.contrib import messages
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from gear.actions.acting import REFUSALS, Act
from gear.models import Item, User
from gear.views.sending import refused_in
from inspections.actions import reconciling as acts
from inspections.actions import shipments as packing
from inspections.actions.reconciling import Stated
from inspections.forms.shipping import AmendForm, BackForm, LineForm
from inspections.models import SETTLED_NAMES, ShipmentLine, ShipmentOutcome
from inspections.rules.shipping import EXTRA, FINAL, MISSING, PASSED
from inspections.views.carton import Answer, did, piece_meant, show, told


def back(request: HttpRequest, number: str) -> HttpResponse:
    """One piece that came back. A piece of ours that was on no line is extra, whatever was expected."""
    form = BackForm(request.POST)
    if not form.is_valid():
        return show(request, number, back=form, status=422)
    stated = Stated(**form.stated())
    item, old_label = piece_meant(form)
    if item is None and (form.errors or stated.outcome != EXTRA):
        if not form.errors:
            sentence = _(
                "Nothing in the book fits %s. If it is not ours, choose Extra and write down its marks."
            )
            form.add_error("piece", sentence % form.cleaned_data["piece"])
        return show(request, number, back=_anew(form), status=404)
    try:
        answer = did(request, form, "reconcile", lambda act: _recorded(number, item, stated, form, act))
    except REFUSALS as error:
        status = refused_in(form, error)
        return show(request, number, back=_anew(form), status=status)
    if old_label and item:
        sentence = _("The label on %s was replaced; it has a newer one. Compare the marks on the piece.")
        messages.warning(request, sentence % item.item_no)
    _acknowledge(request, answer, item)
    return redirect("shipment", number)


def _anew(form: BackForm) -> BackForm:
    """A refused form without the outcome that ends a piece: whatever is scanned next must not inherit it."""
    if form.cleaned_data.get("outcome") in FINAL:
        form.data = form.data.copy()
        del form.data["outcome"]
    return form


def _recorded(number: str, item: Item | None, stated: Stated, form: Form, act: Act) -> Answer:
    if item is None:
        read = ", ".join(part for part in (form.cleaned_data["piece"], stated.read) if part)
        return _answer(acts.write_down(number, read=read, note=stated.note, act=act))
    on_slip = ShipmentLine.objects.filter(shipment__number=number, item=item).exists()
    if stated.outcome == EXTRA or (stated.outcome == PASSED and not on_slip):
        return _answer(acts.take_extra(number, item, shelf=stated.shelf, note=stated.note, act=act))
    return _answer(acts.settle(number, item, stated, act=act))


def _answer(row: ShipmentOutcome) -> Answer:
    return {"row": row.pk, "outcome": row.outcome}


def _acknowledge(request: HttpRequest, answer: Answer, item: Item | None) -> None:
    outcome, name = answer["outcome"], item.item_no if item else ""
    told_as = {"item": name, "outcome": SETTLED_NAMES[outcome]}
    if outcome == EXTRA and item is None:
        messages.warning(
            request, _("Written down: a piece that is in no book. Keep it apart; nobody may use it.")
        )
    elif outcome == EXTRA and item is not None and item.state.condition == "destroyed":
        sentence = _("%s IS RECORDED AS DESTROYED. Keep it apart and call the supervisor now.")
        messages.error(request, sentence % name)
    elif outcome == EXTRA:
        messages.warning(request, _("%s was NOT on the slip. It is taken in as extra.") % name)
    elif outcome == PASSED:
        sentence = _("%(item)s: %(outcome)s, and it is on its shelf. Only its accepted test makes it good.")
        messages.success(request, sentence % told_as)
    else:
        messages.success(request, _("%(item)s: %(outcome)s.") % told_as)


def missing(request: HttpRequest, number: str) -> HttpResponse:
    """A piece of the leftover list did not come back: it is reported lost, with the shipment named."""
    form = LineForm(request.POST)
    item = Item.objects.filter(item_no=request.POST.get("item_no", "")).first()
    if not form.is_valid() or item is None:
        raise Http404(_("That piece is not in the carton."))
    try:
        did(
            request,
            form,
            "reconcile",
            lambda act: _answer(acts.settle(number, item, Stated(MISSING), act=act)),
        )
    except REFUSALS as error:
        messages.error(request, str(error))
    else:
        messages.warning(
            request, _("%s is missing. It is reported lost and stays in every count.") % item.item_no
        )
    return redirect("shipment", number)


def close(request: HttpRequest, number: str) -> HttpResponse:
    """Close the carton; with open lines it stays open and they are named."""
    try:
        packing.close(number, act=Act(cast(User, request.user)))
    except REFUSALS as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("%s is closed.") % number)
    return redirect("shipment", number)


def amend(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Correct one outcome by a later row that names it."""
    rows = ShipmentOutcome.objects.select_related("shipment", "item", "item__item_type", "by", "corrected_by")
    row = get_object_or_404(rows, pk=pk, shipment__number=number)
    extra = row.line_id is None
    if request.method != "POST":
        return _amending(request, row, AmendForm(initial=_as_stated(row), extra=extra))
    form = AmendForm(request.POST, extra=extra)
    if not form.is_valid():
        return _amending(request, row, form, status=422)
    stated = Stated(**form.stated())
    try:
        did(request, form, "reconcile", lambda act: _answer(acts.correct(pk, stated, act=act)))
    except REFUSALS as error:
        return _amending(request, row, form, status=refused_in(form, error))
    messages.success(request, _("Corrected. Both rows stay on record."))
    return redirect("shipment", number)


def _as_stated(row: ShipmentOutcome) -> dict[str, Any]:
    return {"id": uuid4(), "shelf": row.shelf_id, "report_no": row.report_no, "read": row.read}


def _amending(request: HttpRequest, row: ShipmentOutcome, form: Form, *, status: int = 200) -> HttpResponse:
    page = {"title": _("Correct a row of %s") % row.shipment.number, "one": told(row), "form": form}
    return render(request, "inspections/shipment_row.html", page, status=status)
