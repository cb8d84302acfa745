"""Trace forward: what rests on an instrument that was found wrong, as page, file and paper, and all of it held."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from typing import Any, cast

from django.conf import settings
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from gear import permissions, wording
from gear.actions.acting import Act, Refused
from gear.actions.batches import Cause, hold_all
from gear.forms.batches import HoldForm
from gear.models import User
from gear.pdf import NotSet
from gear.queries import Question, described, question
from gear.queries.whereabouts import items_in
from gear.rules.whereabouts import Found
from gear.spreadsheets import Cell, inert_lines
from gear.views.recall import held
from gear.views.sending import sent_values
from gear.views.whereabouts import file_answer, hold_form, listing, mark_of, on_paper, paper_of
from inspections.forms.instruments import TraceForm
from inspections.models import Instrument
from inspections.queries.tracing import Trace, trace
from inspections.rules.tracing import Acceptance

log = logging.getLogger(__name__)
ABOUT = gettext_lazy("Rests on")
COLUMNS = (
    "list",
    "item_no",
    "kind",
    "class",
    "serial",
    "usable_now",
    "holder_kind",
    "holder",
    "crew",
    "depot",
    "verdict",
    "reasons",
    "accepted_on",
    "report_no",
    "instrument",
    "found_wrong_on",
    "last_known_good_on",
    "as_of",
)


def page(request: HttpRequest, pk: int) -> HttpResponse:
    """What rests on the instrument, usable now first, and the form that holds all of it."""
    shown, asked = get_object_or_404(Instrument, pk=pk), question()
    form = _form(request, asked)
    if not form.is_bound or not form.is_valid():
        return _page(request, shown, form, status=400 if form.is_bound else 200)
    found = trace(shown, form.cleaned_data["found_on"], asked)
    if request.method == "POST":
        return _hold(request, form, found)
    return _page(request, shown, form, found=found)


def csv(request: HttpRequest, pk: int) -> HttpResponseBase:
    """The same as a file, with what ended meanwhile."""
    shown, asked = get_object_or_404(Instrument, pk=pk), question()
    form = _form(request, asked)
    if not form.is_bound or not form.is_valid():
        return _page(request, shown, form, status=400)
    found = trace(shown, form.cleaned_data["found_on"], asked)
    demo = "DEMO-" if settings.DEMO else ""
    name = f"{demo}trace-{found.found_on.isoformat()}.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    lines = inert_lines(COLUMNS, _rows(found, asked))
    return StreamingHttpResponse(lines, content_type="text/csv; charset=utf-8", headers=headers)


def pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """The same on paper, with a box to tick for each piece."""
    shown, asked = get_object_or_404(Instrument, pk=pk), question()
    form = _form(request, asked)
    if not form.is_bound or not form.is_valid():
        return _page(request, shown, form, status=400)
    found = trace(shown, form.cleaned_data["found_on"], asked)
    try:
        content = on_paper(
            found.carried,
            asked,
            title=_("What rests on %s") % shown.name,
            lead=[said_of(found), *_apart(found)],
            paper=paper_of(request),
            about=_about,
            about_title=str(ABOUT),
        )
    except NotSet as error:
        log.error("The trace of %s could not be set: %s", shown.name, error.detail)
        return _page(request, shown, form, found=found, problem=str(error), status=503)
    return file_answer(content, f"trace-{found.found_on.isoformat()}")


def said_of(found: Trace) -> str:
    """`M-2 found wrong on 14 SEP 2026; last known good 3 AUG 2026.`, and until when it was."""
    told = {"name": found.instrument.name, "found": wording.day(found.found_on)}
    if found.wrong.since:
        first = _("%(name)s found wrong on %(found)s; last known good %(good)s.")
        told["good"] = wording.day(found.wrong.since)
    else:
        first = _(
            "%(name)s found wrong on %(found)s; no earlier good calibration is on file, so every test counts."
        )
    if found.wrong.through is None:
        second = _("No calibration has put it right since.")
    else:
        second = _("Put right by the calibration of %s.") % wording.day(found.wrong.through)
    return f"{first % told} {second}"


def _subject(found: Trace) -> str:
    """What the hold says: the instrument and the trace, days as the record writes them."""
    good = found.wrong.since.isoformat() if found.wrong.since else _("not on file")
    told = {"name": found.instrument.name, "found": found.found_on.isoformat(), "good": good}
    return _("Instrument %(name)s found wrong on %(found)s, last known good %(good)s") % told


def _apart(found: Trace) -> list[str]:
    """What is not in the list and why."""
    sentences = []
    if found.ended:
        words = ngettext(
            "%d more piece was accepted with it, but failed or was rejected or destroyed since, or needs a test.",
            "%d more were accepted with it, but failed or were rejected or destroyed since, or need a test.",
            len(found.ended),
        )
        sentences.append(words % len(found.ended))
    if found.unreadable:
        numbers = ", ".join(one.item_no for one in found.unreadable)
        sentences.append(_("Cannot be held, because their record cannot be read: %s.") % numbers)
    if found.nameless:
        words = ngettext(
            "%d accepted test of that time does not say what it was made with; nobody can tell.",
            "%d accepted tests of that time do not say what they were made with; nobody can tell.",
            found.nameless,
        )
        sentences.append(words % found.nameless)
    return sentences


def _about(one: Acceptance) -> str:
    report = one.test.report_no
    day = wording.day(one.on)
    return _("Test of %(day)s, report %(report)s") % {"day": day, "report": report} if report else (
        _("Test of %s") % day
    )  # fmt: skip


def _form(request: HttpRequest, asked: Question) -> TraceForm:
    return TraceForm(request.GET if "found_on" in request.GET else None, today=asked.as_of)


def _hold(request: HttpRequest, form: TraceForm, found: Trace) -> HttpResponse:
    sent, person = HoldForm(request.POST), cast(User, request.user)
    asked = {"instrument": found.instrument.name, "found_on": found.found_on.isoformat()}
    if not sent.is_valid():
        return _page(request, found.instrument, form, found=found, hold=sent, status=422)

    def work() -> dict[str, Any]:
        if mark_of(found.carried) != sent.cleaned_data["shown"]:
            raise Refused("LIST_CHANGED")
        since = found.wrong.since.isoformat() if found.wrong.since else None
        batch = hold_all(
            items_in(found.carried),
            cause=Cause("trace", _subject(found), {**asked, "last_known_good": since}),
            reason=sent.cleaned_data["reason"],
            act=Act(person, id=sent.cleaned_data["id"]),
        )
        return {"batch": batch.number}

    def again(status: int) -> HttpResponse:
        return _page(request, found.instrument, form, found=found, hold=sent, status=status)

    return held(request, sent, {**asked, **sent_values(request, sent)}, work, again)


def _rows(found: Trace, asked: Question) -> Iterator[tuple[Cell, ...]]:
    lists = (("rests_on_it", found.carried), ("ended", found.ended), ("unreadable", found.unreadable))
    for name, pieces in lists:
        for one in sorted(pieces, key=lambda each: (not each.usable, each.item_no)):
            yield _cells(name, one, found, asked)


def _cells(name: str, one: Found, found: Trace, asked: Question) -> tuple[Cell, ...]:
    identity, (holder_kind, holder) = one.facts.identity, one.holder
    return (
        name,
        one.item_no,
        described.kind_word(identity.get("kind")),
        identity.get("class"),
        identity.get("serial"),
        "yes" if one.usable else "no",
        holder_kind,
        holder,
        one.place.crew,
        one.place.depot,
        one.answer.verdict,
        " ".join(wording.sentence(reason) for reason in one.answer.reasons),
        one.about.on,
        one.about.test.report_no,
        found.instrument.name,
        found.found_on,
        found.wrong.since,
        asked.as_of,
    )


def _page(
    request: HttpRequest,
    shown: Instrument,
    form: TraceForm,
    *,
    found: Trace | None = None,
    hold: HoldForm | None = None,
    problem: str = "",
    status: int = 200,
) -> HttpResponse:
    told: dict[str, Any] = {
        "title": _("What rests on %s") % shown.name,
        "instrument": shown,
        "form": form,
        "problem": problem,
    }
    if found is not None:
        if hold is not None:
            hold.data = {**hold.data.dict(), "shown": mark_of(found.carried)}
        told |= {
            "list": listing(found.carried, about=_about),
            "about_title": ABOUT,
            "said": said_of(found),
            "apart": _apart(found),
            "hold": (hold or hold_form(found.carried))
            if permissions.can(request.user, "hold_batch")
            else None,
            "query": request.GET.urlencode(),
        }
    return render(request, "inspections/trace.html", told, status=status)
