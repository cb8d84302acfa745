"""Registers: corrections with late entries, changes of rules, attempts that were refused. Pages and files to read."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _

from gear import wording
from gear.models import Entry, Refusal
from gear.queries import entry_words
from gear.spreadsheets import Cell, inert_lines
from gear.views.moments import moment
from reports.forms.registers import PeriodForm
from reports.queries import registers as reads
from reports.queries.registers import Correction, Period
from reports.wording import registers as words

CORRECTION_COLUMNS = (
    "recorded_at", "item_or_set", "entry", "entry_kind", "entered_at", "entered_by", "about_day", "said", "now_says",
    "withdrawn", "corrected_by", "second_person", "reason", "delay_days",
)  # fmt: skip
RULE_COLUMNS = ("recorded_at", "by", "kind", "effective_from", "field", "before", "after", "reason")
REFUSAL_COLUMNS = ("at", "by", "via", "act", "subject", "code", "detail")


def corrections(request: HttpRequest) -> HttpResponse:
    """Every correction of the period, newest first, and how late people made their entries."""
    form, period = _period(request)
    found, more = reads.corrections(period, request.GET.get("after", ""))
    context = {
        "title": _("Corrections"),
        "rows": [_told(one) for one in found],
        "delays": _delays(period),
    }
    return _page(request, "reports/corrections.html", form, context, more)


def _delays(period: Period) -> list[tuple[str, int]]:
    """(how late, how many entries), each step up to the next."""
    found = reads.delays(period)
    ends = [least for least, _count in found[1:]]
    return [
        (words.step(least, below), count) for (least, count), below in zip(found, [*ends, None], strict=True)
    ]


def corrections_csv(request: HttpRequest) -> HttpResponseBase:
    form, period = _period(request)
    if not form.is_valid():
        return corrections(request)
    rows = (_correction_cells(one) for one in reads.all_corrections(period))
    return _file("corrections", CORRECTION_COLUMNS, rows)


def rules(request: HttpRequest) -> HttpResponse:
    """Every pack and policy that was put in force, with what it changed field by field."""
    form, period = _period(request)
    context = {
        "title": _("Changes of rules"),
        "rows": [_rule(entry, before) for entry, before in reads.rule_entries(period)],
    }
    return _page(request, "reports/rule_changes.html", form, context, "")


def rules_csv(request: HttpRequest) -> HttpResponseBase:
    form, period = _period(request)
    if not form.is_valid():
        return rules(request)
    return _file("rule-changes", RULE_COLUMNS, _rule_cells(period))


def refusals(request: HttpRequest) -> HttpResponse:
    """Every attempt that was refused: who tried what, and why not."""
    form, period = _period(request)
    found, more = reads.refusals(period, request.GET.get("after", ""))
    context = {"title": _("Refused attempts"), "rows": [_refusal(one) for one in found]}
    return _page(request, "reports/refusals.html", form, context, more)


def refusals_csv(request: HttpRequest) -> HttpResponseBase:
    form, period = _period(request)
    if not form.is_valid():
        return refusals(request)
    rows = (
        (
            one.at.isoformat(),
            one.by.name if one.by else "",
            one.via,
            one.act,
            one.subject,
            one.code,
            one.detail,
        )
        for one in reads.all_refusals(period)
    )
    return _file("refusals", REFUSAL_COLUMNS, rows)


def _period(request: HttpRequest) -> tuple[PeriodForm, Period]:
    form = PeriodForm(request.GET)
    return form, form.period() if form.is_valid() else Period()


def _page(
    request: HttpRequest, template: str, form: PeriodForm, context: dict[str, Any], more: str
) -> HttpResponse:
    """A register; where the period cannot be read, its form alone: never another period than was asked for."""
    kept = {name: request.GET[name] for name in ("first", "last") if request.GET.get(name)}
    wrong = bool(form.errors)
    told = {
        "form": form,
        "refused": wrong,
        "query": urlencode(kept),
        "more": urlencode(kept | {"after": more}) if more else "",
        "first_page": not request.GET.get("after"),
    }
    if wrong:
        context = {"title": context["title"]}
    return render(request, template, context | told, status=400 if wrong else 200)


def _file(name: str, columns: Sequence[str], rows: Iterable[Sequence[Cell]]) -> StreamingHttpResponse:
    demo = "DEMO-" if settings.DEMO else ""
    return StreamingHttpResponse(
        inert_lines(columns, rows),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{demo}{name}.csv"'},
    )


def _by(entry: Entry) -> str:
    return entry.by.name if entry.by else _("nobody signed in")


def _told(one: Correction) -> dict[str, Any]:
    entry, original = one.entry, one.original
    return {
        "subject": words.subject(entry),
        "item_no": entry.item.item_no if entry.item else "",
        "pk": original.pk,
        "title": entry_words.title(original.kind),
        "about": wording.day(original.occurred_on),
        "said": entry_words.says(original.kind, original.facts),
        "entered": moment(original.recorded_at),
        "entered_by": _by(original),
        "now": entry_words.says(one.now.kind, one.now.facts) if one.now else (),
        "now_about": wording.day(one.now.occurred_on) if one.now else "",
        "withdrawn": one.readable and one.now is None,
        "recorded": moment(entry.recorded_at),
        "by": _by(entry),
        "second": one.second_person,
        "reason": entry.facts.get("reason", "") if isinstance(entry.facts, dict) else "",
        "delay": words.delay(one.delay),
    }


def _correction_cells(one: Correction) -> tuple[Cell, ...]:
    told = _told(one)
    said, now = ("; ".join(f"{name}: {value}" for name, value in told[side]) for side in ("said", "now"))
    return (
        one.entry.recorded_at.isoformat(),
        told["subject"],
        str(one.original.pk),
        one.original.kind,
        one.original.recorded_at.isoformat(),
        told["entered_by"],
        one.original.occurred_on,
        said,
        now,
        "yes" if told["withdrawn"] else "no",
        told["by"],
        "yes" if told["second"] else "no",
        told["reason"],
        one.delay.days,
    )


def _changes(entry: Entry, before: Entry | None) -> list[tuple[str, str, str]]:
    if entry.kind == "corrected":
        return []
    of = words.pack_changes if entry.kind == "pack_adopted" else words.policy_changes
    return of(entry.facts, before.facts if before else None)


def _rule(entry: Entry, before: Entry | None) -> dict[str, Any]:
    return {
        "title": entry_words.title(entry.kind),
        "recorded": moment(entry.recorded_at),
        "by": _by(entry),
        "effective": words.effective(entry),
        "changes": _changes(entry, before),
        "first": before is None,
        "reason": entry.facts.get("reason", ""),
    }


def _rule_cells(period: Period) -> Iterator[tuple[Cell, ...]]:
    for entry, before in reads.rule_entries(period):
        for change in _changes(entry, before) or [("", "", "")]:
            made = (entry.recorded_at.isoformat(), _by(entry), entry.kind, words.effective(entry))
            yield (*made, *change, str(entry.facts.get("reason", "")))


def _refusal(one: Refusal) -> dict[str, Any]:
    return {
        "at": moment(one.at),
        "by": one.by.name if one.by else _("nobody signed in"),
        "via": entry_words.word(entry_words.WAYS, one.via),
        "act": one.act.replace("_", " "),
        "subject": one.subject,
        "code": one.code,
        "detail": one.detail,
    }
