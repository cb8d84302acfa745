"""The page of one carton, in each of its states, and what its forms have in common."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast
from uuid import UUID, uuid4

from django.conf import settings
from django.contrib import messages
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from gear import permissions, wording
from gear.actions.acting import Act
from gear.actions.submissions import once
from gear.models import Item, User
from gear.queries import described
from gear.queries.identified import meant_by
from gear.views.addresses import address_of
from gear.views.moments import moment
from gear.views.sending import sent_values
from inspections import queries
from inspections.actions import shipments as packing
from inspections.forms.shipping import BackForm, LineForm, PlanForm, ScanForm, SendForm
from inspections.models import SETTLED_NAMES, STATE_NAMES, ShipmentOutcome
from inspections.queries import Carton, Line

Answer = dict[str, Any]
TEMPLATES = {"packing": "packing", "sent": "sent", "closed": "sent"}
RESULTS = {
    "waiting": ("late", lambda: _("waiting for its test result")),
    "accepted": ("", lambda: _("its test is accepted")),
    "rejected": ("late", lambda: _("rejected")),
}


def did(request: HttpRequest, form: Form, act_name: str, work: Callable[[Act], Answer]) -> Answer:
    """Do what a form asks once, under its id; its answer. Raises what the act raises."""
    person, key = cast(User, request.user), cast(UUID, form.cleaned_data["id"])
    body = {"path": request.path, **sent_values(request, form)}
    answer, _new = once(key, act=act_name, body=body, by=person, work=lambda: work(Act(person, id=key)))
    return answer


def piece_meant(form: Form) -> tuple[Item | None, bool]:
    """The item that was scanned, and whether by a label that was replaced; several are told beside the field."""
    meant = meant_by(form.cleaned_data["piece"], base_url=settings.BASE_URL)
    if len(meant.items) > 1:
        named = ", ".join(item.item_no for item in meant.items)
        sentence = _("Several pieces have this serial: %s. Scan the label or type the item number.")
        form.add_error("piece", sentence % named)
    return meant.item, meant.old_label


def show(request: HttpRequest, number: str, *, status: int = 200, **forms: Form) -> HttpResponse:
    """The page of a carton; a form that was refused is shown as it was sent."""
    found = queries.carton(number)
    if found is None:
        raise Http404(_("There is no shipment %s.") % number)
    one, state = found.shipment, found.shipment.state
    own = _packed(found) if state == "packing" else _away(found, request)
    for form in (form for name, form in forms.items() if name not in own):
        # Somebody sent or closed the carton meanwhile: its page has no such form any more.
        for error in (error for errors in form.errors.values() for error in errors):
            messages.error(request, error)
    page = {
        "title": _("Shipment %s") % number,
        "carton": found,
        "shipment": one,
        "state": STATE_NAMES[state],
        "days_late": queries.days_late(one, packing.today()),
        "sent_at": moment(one.sent_at) if one.sent_at else "",
        "closed_at": moment(one.closed_at) if one.closed_at else "",
        "totals": totals_in_words(found),
        "may": permissions.can(cast(User, request.user), "ship"),
        **own,
        **forms,
    }
    return render(request, f"inspections/shipment_{TEMPLATES[state]}.html", page, status=status)


def _packed(found: Carton) -> dict[str, Any]:
    """The newest scan first: that is where the clerk looks."""
    return {
        "rows": [_row(line) for line in reversed(found.lines)],
        "scan": ScanForm(initial={"id": uuid4()}),
        "plan": PlanForm.about(found.shipment),
        "send": SendForm(initial={"id": uuid4(), "courier_no": found.shipment.courier_no}),
    }


def _away(found: Carton, request: HttpRequest) -> dict[str, Any]:
    latest = [*reversed(_newest(found))]
    kept = {
        "shelf": next((one.shelf_id for one in latest if one.shelf_id), None),
        "report_no": next((one.report_no for one in latest if one.report_no), ""),
    }
    asked = {name: request.GET[name] for name in ("piece", "outcome") if request.GET.get(name)}
    return {
        "back": BackForm.blank(**kept, **asked),
        "leftover": [_row(line) for line in found.open],
        "settled": [{**_row(line), **_said(line)} for line in found.settled],
        "extras": [told(one) for one in found.extras],
        "corrected": [told(one) for one in found.corrected],
        "lab_files": address_of("lab_files"),
        "waiting": sum(_said(line)["result"] == "waiting" for line in found.settled),
    }


def _newest(found: Carton) -> list[ShipmentOutcome]:
    rows = [line.settled for line in found.lines if line.settled] + list(found.extras)
    return sorted(rows, key=lambda one: (one.at, one.pk))


def _row(line: Line) -> dict[str, Any]:
    return {
        "line": line,
        "item_no": line.item.item_no,
        "heading": described.heading(line.identity),
        "serial": line.item.serial,
        "why": why_words(line),
        "one": LineForm(initial={"id": uuid4(), "item_no": line.item.item_no}),
    }


def _said(line: Line) -> dict[str, Any]:
    """What became of a line, and what the book says of the piece now: the lab's word makes nothing good."""
    assert line.settled is not None
    result = line.result if line.settled.outcome == "passed" or line.result == "rejected" else ""
    mark, words = RESULTS.get(result, ("", lambda: ""))
    return {**told(line.settled), "result": result, "result_words": words(), "mark": mark}


def told(row: ShipmentOutcome) -> dict[str, Any]:
    """One outcome in words."""
    return {
        "row": row,
        "outcome": SETTLED_NAMES[row.outcome],
        "at": moment(row.at),
        "by": row.by.name if row.by else "",
        "what": row.item.item_type if row.item else "",
        "later": SETTLED_NAMES[row.corrected_by.outcome] if hasattr(row, "corrected_by") else "",
    }


def why_words(line: Line) -> str:
    """Why a piece is sent, in a few words, and what was noted of it."""
    short = str(wording.SHORT.get(line.row.why, _("routine test")))
    return ": ".join(part for part in (short, line.row.note) if part)


def totals_in_words(found: Carton) -> list[tuple[str, int]]:
    """`Glove, class 2` and how many of them."""
    return [(described.heading({"kind": kind, "class": cls}), count) for kind, cls, count in found.totals]
