"""Samples that somebody went round with: kept by the office, with what was found and what follows from it."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from functools import partial
from typing import Any, cast
from urllib.parse import urlencode
from uuid import UUID, uuid4

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from gear import permissions, wording
from gear.actions.acting import REFUSALS, Act
from gear.actions.submissions import once
from gear.models import User
from gear.queries.described import kind_word
from gear.rules.values import BadValue, text
from gear.views.sending import refused_in, sent_values
from reports.actions.audits import enter_results, keep_sample
from reports.forms.audits import LookedForm
from reports.forms.sampling import STRATA_NAMES, DrawForm
from reports.models import FOUND_NAMES, AuditResult, AuditSample
from reports.queries import audits as reads
from reports.queries.sampling import Expected, choices
from reports.views.audits import ASKED, drawn_by, line, part_word
from reports.wording import sampling as words

# What should follow from a finding: (the act that is offered, its words). A result by itself does nothing.
FOLLOWS = {
    "not_found": ("report_lost", gettext_lazy("Report it lost")),
    "elsewhere": ("move", gettext_lazy("Record where it is")),
    "damaged": ("hold", gettext_lazy("Put it on hold")),
    "label_wrong": ("hold", gettext_lazy("Put it on hold")),
    "out_of_date": ("hold", gettext_lazy("Put it on hold")),
}


def samples(request: HttpRequest) -> HttpResponse:
    """Every sample that results are entered for, newest first; a draw that is sent here is kept."""
    if request.method == "POST":
        return _keep(request)
    typed = request.GET.get("after", "")
    rows, more = reads.samples(int(typed) if typed.isascii() and typed.isdigit() and len(typed) < 7 else 0)
    shown = [
        {
            "sample": one.sample,
            "entered": one.entered,
            "as_of": words.moment(one.sample.as_of),
            "kept": words.moment(one.sample.at),
            "source": source(one.sample),
        }
        for one in rows
    ]
    return render(
        request,
        "reports/audit_samples.html",
        {"title": _("Samples with results"), "rows": shown, "more": more},
    )


def _keep(request: HttpRequest) -> HttpResponse:
    """Draw again what the page showed, and keep it."""
    depots, kinds = choices()
    form = DrawForm(request.POST, depots=depots, kinds=kinds)
    person = cast(User, request.user)
    drawn = drawn_by(form) if form.is_valid() and form.cleaned_data["at"] else None
    try:
        client_id = UUID(request.POST.get("id", ""))
    except ValueError:
        drawn = None
    if drawn is None:
        messages.error(request, _("This sample cannot be kept as it was sent. Draw it again."))
        return redirect("audit_sample")
    asked = {name: form.cleaned_data[name] for name in ("start", "at", "depot", "kind", "strata")}

    def work() -> dict[str, Any]:
        confidence = int(form.cleaned_data["confidence"])
        act = Act(person, id=client_id)
        return {"sample": str(keep_sample(asked, size=drawn.size, confidence=confidence, act=act).pk)}

    try:
        body = {name: request.POST.get(name, "") for name in ASKED}
        answer, _new = once(client_id, act="enter_audit", body=body, by=person, work=work)
    except REFUSALS as error:
        messages.error(request, str(error))
        return redirect("audit_sample")
    return redirect("audit_results", answer["sample"])


def sample(request: HttpRequest, pk: UUID) -> HttpResponse:
    """One sample: what should be found, what was, what that proves, and the rows in which more is entered."""
    shown = get_object_or_404(AuditSample.objects.select_related("by"), pk=pk)
    if request.method == "POST":
        return _enter(request, shown)
    return _page(request, shown, LookedForm(initial={"id": uuid4()}))


def _enter(request: HttpRequest, shown: AuditSample) -> HttpResponse:
    form, person = LookedForm(request.POST), cast(User, request.user)
    found, problem = _rows_sent(request, shown)
    if problem:
        form.add_error(None, problem)
    if not form.is_valid():
        return _page(request, shown, form, found, status=422)

    def work() -> dict[str, Any]:
        stated = form.cleaned_data
        act = Act(person, id=stated["id"])
        count = enter_results(
            shown, found, looked_by=stated["looked_by"], looked_on=stated["looked_on"], act=act
        )
        return {"entered": count}

    try:
        body = {
            **sent_values(request, form),
            "sample": str(shown.pk),
            "found": {no: list(one) for no, one in found.items()},
        }
        answer, _new = once(form.cleaned_data["id"], act="enter_audit", body=body, by=person, work=work)
    except REFUSALS as error:
        return _page(request, shown, form, found, status=refused_in(form, error))
    done = ngettext("%d result was entered.", "%d results were entered.", answer["entered"])
    messages.success(request, done % answer["entered"])
    return redirect("audit_results", shown.pk)


def _rows_sent(request: HttpRequest, shown: AuditSample) -> tuple[dict[str, tuple[str, str]], str]:
    """(item number: what was found and a note, of the rows that say anything; what is wrong with one of them)."""
    found: dict[str, tuple[str, str]] = {}
    for at, (_stratum, item_no) in enumerate(shown.drawn):
        word, note = request.POST.get(f"found_{at}", ""), request.POST.get(f"note_{at}", "")
        try:
            note = text("note", note)
        except BadValue as error:
            return found, f"{item_no}: {error}"
        if note and not word:
            return found, _("%s has a note and does not say what was found.") % item_no
        if word:
            found[item_no] = (word, note)
    return found, ""


def _page(
    request: HttpRequest,
    shown: AuditSample,
    form: LookedForm,
    typed: Mapping[str, tuple[str, str]] | None = None,
    *,
    status: int = 200,
) -> HttpResponse:
    drawn, entered = reads.drawn_of(shown), reads.results(shown)
    missing = shown.size - len(entered)
    may = permissions.can(cast(User, request.user), "enter_audit")
    context: dict[str, Any] = {
        "title": _("Sample %s") % shown.start,
        "sample": shown,
        "source": source(shown),
        "strata": STRATA_NAMES[shown.strata],
        "as_of": words.moment(shown.as_of),
        "exact": shown.as_of.isoformat(),
        "zone": settings.TIME_ZONE,
        "kept": words.moment(shown.at),
        "query": urlencode(again(shown)),
        "missing": missing,
        "entered": len(entered),
        "rows": [
            _row(at, one, shown, entered, typed or {}, may=may)
            for at, one in enumerate(reads.as_drawn(shown))
        ],
        "found_words": list(FOUND_NAMES.items()),
        "form": form if may else None,
        "tally": [
            (word, count)
            for code, word in FOUND_NAMES.items()
            if (count := sum(one.found == code for one in entered.values()))
        ],
    }
    if not missing:
        bad, sure = reads.bad_by_part(drawn, entered), Fraction(shown.confidence, 100)
        context |= {
            "proves": words.proves(drawn, bad, sure, name=partial(part_word, strata=shown.strata)),
            "proves_not": words.proves_not(drawn, bad),
        }
    return render(request, "reports/audit_results.html", context, status=status)


def _row(
    at: int,
    one: Expected,
    shown: AuditSample,
    entered: Mapping[str, AuditResult],
    typed: Mapping[str, tuple[str, str]],
    *,
    may: bool,
) -> dict[str, Any]:
    result = entered.get(one.item_no)
    told = line(one, part=part_word(one.stratum, shown.strata)) | {"at": at}
    told["word"], told["note"] = typed.get(one.item_no, ("", ""))
    if result is not None:
        told |= {
            "found": FOUND_NAMES[result.found],
            "bad": result.found != "as_recorded",
            "by": result.looked_by,
            "on": wording.day(result.looked_on),
            "said": result.note,
        }
        verb, offer = FOLLOWS.get(result.found, ("", ""))
        if verb and may:
            told |= {"offer": offer, "address": reverse("act", args=[one.item_no, verb])}
    return told


def source(shown: AuditSample) -> str:
    """What a sample was drawn from: the whole book, or a depot and a kind."""
    parts = [shown.depot, kind_word(shown.kind) if shown.kind else ""]
    return ", ".join(part for part in parts if part) or _("the whole book")


def again(shown: AuditSample) -> dict[str, str]:
    """What the page of the draw has to be asked to draw the same again."""
    return {
        "start": shown.start,
        "depot": shown.depot,
        "kind": shown.kind,
        "strata": shown.strata,
        "percent": "1",
        "confidence": str(shown.confidence),
        "size": str(shown.size),
        "at": shown.as_of.isoformat(),
    }
