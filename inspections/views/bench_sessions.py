"""Bench sessions: the list, opening one, correcting what its rows share, abandoning it."""

from __future__ import annotations

from typing import Any, cast
from uuid import uuid4

from django.contrib import messages
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from gear import permissions
from gear.actions.acting import REFUSALS, Act
from gear.actions.submissions import once
from gear.models import User
from gear.queries import question
from gear.queries.people import qualification_on
from gear.views.sending import refused_in, sent_values
from inspections import queries
from inspections.actions.bench_sessions import abandon_session, change_session, open_session
from inspections.forms.bench import SessionForm, WhyForm, first_values
from inspections.models import PURPOSE_NAMES, SUPPLY_NAMES, BenchSession, Instrument
from inspections.rules.testfacts import Paper

RECENT = 30  # closed sessions shown; the rest is found by their number


def bench_sessions(request: HttpRequest) -> HttpResponse:
    """Open sessions first, then the newest closed ones; a clerk opens another here."""
    if request.method == "POST":
        return _opened(request)
    return _page(request, _form(initial=_usual(cast(User, request.user))))


def _opened(request: HttpRequest) -> HttpResponse:
    form = _form(request.POST)
    if not form.is_valid():
        return _page(request, form, status=422)
    act = Act(cast(User, request.user), id=form.cleaned_data["id"])

    def work() -> dict[str, Any]:
        return {"session": open_session(form.particulars(), act=act).number}

    try:
        done, _is_new = once(
            act.id, act="open_session", body=sent_values(request, form), by=act.by, work=work
        )
    except REFUSALS as error:
        return _page(request, form, status=refused_in(form, error))
    return redirect("bench_session", done["session"])


def _page(request: HttpRequest, form: SessionForm, *, status: int = 200) -> HttpResponse:
    wanted = request.GET.get("number", "").strip()[:80]
    found = queries.sessions()
    closed = found.exclude(state="open")
    if wanted:
        closed = closed.filter(Q(number__iexact=wanted) | Q(instrument__iexact=wanted))
    page = {
        "title": _("Bench sessions"),
        "open": list(found.filter(state="open")),
        "closed": list(closed[:RECENT]),
        "wanted": wanted,
        "form": form if permissions.can(cast(User, request.user), "log_test") else None,
        "instruments": form.instruments,
    }
    return render(request, "inspections/bench_sessions.html", page, status=status)


def _form(*args: Any, **kwargs: Any) -> SessionForm:
    names = list(Instrument.objects.order_by("name").values_list("name", flat=True)[:200])
    return SessionForm(*args, today=question().as_of, instruments=names, **kwargs)


def _usual(user: User) -> dict[str, Any]:
    """What the last session of this person was like; the day is today, and the room is measured anew."""
    last = BenchSession.objects.filter(opened_by=user).order_by("-pk").first()
    usual = {"purpose": "in_service", "supply": "ac", "bench": "", "instrument": "", "water": ""}
    if last is not None:
        usual = {name: getattr(last, name) for name in usual}
    return {**usual, "tested_on": question().as_of.isoformat(), "id": uuid4()}


def bench_details(request: HttpRequest, session_no: str) -> HttpResponse:
    """What all rows share, to be corrected while the session is open; or the session abandoned."""
    session = get_object_or_404(BenchSession, number=session_no)
    if request.method != "POST":
        return _details(request, session)
    act = Act(cast(User, request.user))
    if "abandon" in request.POST:
        why = WhyForm(request.POST)
        if not why.is_valid():
            return _details(request, session, why=why, status=422)
        try:
            abandon_session(session, why=why.cleaned_data["why"], act=act)
        except REFUSALS as error:
            return _details(request, session, why=why, status=refused_in(why, error))
        messages.success(request, _("%s is abandoned. Nothing of it was recorded.") % session.number)
        return redirect("bench_sessions")
    form = _form(request.POST)
    if not form.is_valid():
        return _details(request, session, form=form, status=422)
    try:
        change_session(session, form.particulars(), act=act)
    except REFUSALS as error:
        return _details(request, session, form=form, status=refused_in(form, error))
    messages.success(request, _("Corrected; every row was judged again."))
    return redirect("bench_session", session.number)


def _details(
    request: HttpRequest,
    session: BenchSession,
    *,
    form: SessionForm | None = None,
    why: WhyForm | None = None,
    status: int = 200,
) -> HttpResponse:
    form = form or _form(initial={**first_values(session), "id": uuid4()})
    page = {
        "title": _("Bench session %s") % session.number,
        "session": session,
        "form": form,
        "why": why or WhyForm(),
        "instruments": form.instruments,
    }
    return render(request, "inspections/bench_details.html", page, status=status)


def heading(session: BenchSession, user: User) -> dict[str, Any]:
    """The head of a session's pages: what all rows share, calibration and qualification as they stand on its day."""
    calibration = queries.calibration_on(
        Paper(instrument=session.instrument, bench=session.bench), session.tested_on, queries.register()
    )
    return {
        "session": session,
        "purpose": PURPOSE_NAMES[session.purpose],
        "supply": SUPPLY_NAMES[session.supply],
        "calibration": calibration,
        "qualification": qualification_on(user, session.tested_on),
        "may_write": session.is_open and permissions.can(user, "log_test"),
    }
