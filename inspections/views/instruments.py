"""The register of instruments: what is due, every calibration of one, and the tests that rest on it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any, cast
from uuid import UUID, uuid4

from django.contrib import messages
from django.db.models import Count, Q
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from gear import permissions, wording
from gear.actions.acting import REFUSALS, Act
from gear.actions.submissions import once
from gear.models import Entry, User
from gear.queries import question
from gear.views.sending import refused_in, sent_values
from inspections import wording as words
from inspections.actions import instruments as register
from inspections.forms.instruments import CalibrationForm, InstrumentForm, WithdrawForm
from inspections.models import INSTRUMENT_KIND_NAMES, Calibration, ElectricalTest, Instrument
from inspections.queries.instruments import (
    Registered,
    calibrations_in_force,
    history_of,
    registered,
    tests_with,
    unregistered,
)
from inspections.rules.calibration import History, standing

TITLE = gettext_lazy("Instruments")
TESTS_SHOWN = 50


def instruments(request: HttpRequest) -> HttpResponse:
    """Every instrument, those out of calibration first; and the names in tests that the register does not have."""
    today = question().as_of
    rows = sorted(registered(), key=lambda one: _urgency(one, today))
    page = {
        "title": TITLE,
        "instruments": [_row(one, today) for one in rows],
        "unregistered": unregistered(),
        "may_change": permissions.can(request.user, "calibrate"),
    }
    return render(request, "inspections/instruments.html", page)


def _urgency(one: Registered, today: date) -> tuple[int, date, str]:
    """Not in calibration today first, then what runs out next, then what has no date on file."""
    due, name = one.history.due_on, one.instrument.name.casefold()
    if standing(one.history, today) == "expired":
        return 0, due or date.min, name
    return (1, due, name) if due else (2, date.max, name)


def _row(one: Registered, today: date) -> dict[str, Any]:
    newest, due = one.history.newest, one.history.due_on
    return {
        "instrument": one.instrument,
        "kind": INSTRUMENT_KIND_NAMES.get(one.instrument.kind, _("not stated")),
        "due": _due_word(one.history),
        "days": _days_word(due, today),
        "expired": standing(one.history, today) == "expired",
        "calibrated": wording.day(newest.on) if newest else "",
        "out": newest is not None and not newest.in_tolerance,
    }


def _due_word(history: History) -> str:
    if history.out_of_use:
        return _("not given back for use")
    return wording.day(history.due_on) if history.due_on else _("not on file")


def _days_word(due: date | None, today: date) -> str:
    if due is None:
        return ""
    days = (due - today).days
    if days < 0:
        return ngettext("%d day over", "%d days over", -days) % -days
    return ngettext("%d day left", "%d days left", days) % days


def instrument(request: HttpRequest, pk: int) -> HttpResponse:
    """One instrument: its calibrations, withdrawn ones too, and the tests that rest on it."""
    shown, today = get_object_or_404(Instrument, pk=pk), question().as_of
    history = history_of(shown)
    tests = tests_with(shown)
    since = history.newest.on if history.newest else None
    told = Q(outcome="accepted")
    counted = tests.order_by().aggregate(
        all=Count("pk"),
        accepted=Count("pk", filter=told),
        since=Count("pk", filter=told & Q(tested_on__gte=since or date.min)),
    )
    page = {
        "title": shown.name,
        **_row(Registered(shown, history), today),
        "history": _calibrations(shown),
        "brought_in": wording.day(shown.calibration_due_on) if shown.calibration_due_on else "",
        "tests": [_test_row(row) for row in tests.select_related("item")[:TESTS_SHOWN]],
        "counted": counted,
        "since": wording.day(since) if since else "",
        "unsupported": _unsupported(tests.filter(told), history),
        "may_change": permissions.can(request.user, "calibrate"),
        "found_on": since.isoformat() if since and history.newest and not history.newest.in_tolerance else "",
    }
    return render(request, "inspections/instrument.html", page)


def _calibrations(shown: Instrument) -> list[dict[str, Any]]:
    """Every calibration ever entered, the newest first."""
    in_force = set(calibrations_in_force().filter(instrument=shown).values_list("pk", flat=True))
    rows = shown.calibrations.select_related("entry__by").order_by("-calibrated_on", "-entry__position")
    why = {
        entry.corrects_id: entry
        for entry in Entry.objects.filter(corrects__calibration__instrument=shown).select_related("by")
    }
    return [{"row": row, "withdrawn": None if row.pk in in_force else why.get(row.pk)} for row in rows]


def _unsupported(accepted: Any, history: History) -> int:
    """How many accepted tests lie on days on which it was out of calibration by the record as it stands now."""
    by_day = accepted.order_by().values_list("tested_on").annotate(Count("pk"))
    return sum(count for day, count in by_day if standing(history, day) == "expired")


def _test_row(row: ElectricalTest) -> dict[str, Any]:
    return {"row": row, "day": wording.day(row.tested_on), "outcome": words.OUTCOMES[row.outcome]}


def add(request: HttpRequest) -> HttpResponse:
    """Add an instrument or a lab."""
    form = InstrumentForm(
        request.POST or None, initial={"id": uuid4(), "name": request.GET.get("name", "")[:80]}
    )

    def do(act: Act) -> Instrument:
        stated = form.cleaned_data
        return register.add_instrument(
            stated["name"], kind=stated["kind"], note=stated.get("note") or "", act=act
        )

    def after(answer: dict[str, Any]) -> tuple[str, str]:
        told = _("%s was added. Enter its last calibration next.") % answer["name"]
        return reverse("instrument", args=[answer["pk"]]), told

    return _form_page(
        request,
        form,
        do,
        after,
        title=_("Add an instrument or a lab"),
        lead=_("Its calibration is entered on its own page, from the certificate."),
        button=_("Add it"),
        back=reverse("instruments"),
        act_name="instrument_add",
    )


def calibrate(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter a calibration from its certificate."""
    shown = get_object_or_404(Instrument, pk=pk)
    form = CalibrationForm(request.POST or None, today=question().as_of, initial={"id": uuid4()})
    back = reverse("instrument", args=[pk])

    def do(act: Act) -> Instrument:
        return register.calibrate(shown, form.certificate(), act=act).instrument

    def after(answer: dict[str, Any]) -> tuple[str, str]:
        certificate = form.certificate()
        told = _("The calibration of %s is on file.") % answer["name"]
        if certificate.in_tolerance:
            return back, told
        found_on = certificate.calibrated_on.isoformat()
        told += " " + _("It was found out of tolerance: look at what rests on it.")
        return f"{reverse('instrument_trace', args=[pk])}?found_on={found_on}", told

    return _form_page(
        request,
        form,
        do,
        after,
        title=_("Calibration of %s") % shown.name,
        lead=_("As the certificate says it. Tests that were recorded before keep what they were judged by."),
        button=_("Enter this calibration"),
        back=back,
        act_name="instrument_calibrate",
        body={"instrument": shown.name},
    )


def withdraw(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Withdraw a calibration that was entered by mistake."""
    row = get_object_or_404(Calibration.objects.select_related("instrument", "entry"), pk=pk)
    form = WithdrawForm(request.POST or None, initial={"id": uuid4()})
    back = reverse("instrument", args=[row.instrument_id])

    def do(act: Act) -> Instrument:
        register.withdraw(row, reason=form.cleaned_data["reason"], act=act)
        return row.instrument

    return _form_page(
        request,
        form,
        do,
        lambda _answer: (back, _("The calibration was withdrawn.")),
        title=_("Withdraw the calibration of %(day)s")
        % {"day": f"{row.instrument} {wording.day(row.calibrated_on)}"},
        lead=_(
            "For one that was entered by mistake. It stays in sight, struck out, and counts no more. Another "
            "person than the one who entered it does this."
        ),
        button=_("Withdraw it"),
        back=back,
        act_name="instrument_withdraw",
        body={"calibration": str(row.pk)},
    )


def _form_page(
    request: HttpRequest,
    form: Form,
    do: Callable[[Act], Instrument],
    after: Callable[[dict[str, Any]], tuple[str, str]],
    *,
    act_name: str,
    body: dict[str, Any] | None = None,
    **texts: Any,
) -> HttpResponse:
    """A form, one act done once, and on to where it shows; what is refused stands beside its field."""
    if request.method != "POST":
        return render(request, "gear/people_form.html", {"form": form, **texts})
    if not form.is_valid():
        return render(request, "gear/people_form.html", {"form": form, **texts}, status=422)
    act = Act(cast(User, request.user), id=form.cleaned_data["id"])

    def work() -> dict[str, Any]:
        made = do(act)
        return {"pk": made.pk, "name": made.name}

    try:
        sent = {**(body or {}), **sent_values(request, form)}
        answer, _new = once(act.id, act=act_name, body=sent, by=act.by, work=work)
    except REFUSALS as error:
        status = refused_in(form, error)
        return render(request, "gear/people_form.html", {"form": form, **texts}, status=status)
    address, told = after(answer)
    messages.success(request, told)
    return redirect(address)
