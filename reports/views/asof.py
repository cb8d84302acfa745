"""The book on a past day: a report as known then beside the same as known now, and beside the one that was sent."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, cast
from urllib.parse import urlencode
from uuid import UUID

from django.conf import settings
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import wording
from gear.models import Entry, User
from gear.queries import entry_words
from gear.spreadsheets import Cell, inert_lines
from gear.views.moments import moment
from reports.forms.asof import AsOfForm
from reports.models import WeeklyReport
from reports.permissions import scope_of
from reports.queries.asof import AsSent, TwoReports, held_against_sent, question_of, two_reports
from reports.queries.sent_reports import sent_reports
from reports.rules.asof import Pair, Placed
from reports.rules.overdue import DoesNotReconcile, OverdueReport, Scope
from reports.spreadsheets import csv_lines
from reports.wording.rows import row

ON_PAGE = 100  # rows of each table; counts are whole all the same
LIST_NAMES = {
    "usable_now": gettext_lazy("usable now, not good"),
    "off_the_road": gettext_lazy("off the road"),
    "due_soon": gettext_lazy("falls due"),
    "visitors_usable_now": gettext_lazy("visitors': usable now, not good"),
    "visitors_off_the_road": gettext_lazy("visitors': off the road"),
    "visitors_due_soon": gettext_lazy("visitors': falls due"),
    "in_no_list": gettext_lazy("in no list: good for longer, destroyed, or gone home"),
    "not_in_book": gettext_lazy("not in the book"),
}
SIDE = (
    "list",
    "verdict",
    "condition",
    "holder",
    "crew",
    "depot",
    "good_through",
    "days_over",
    "days_left",
    "reasons",
)
COLUMNS = (
    "item_no",
    "same",
    *(f"{one}_then" for one in SIDE),
    *(f"{one}_now" for one in SIDE),
    "recorded_later",
)


def page(request: HttpRequest) -> HttpResponse:
    """The form, and both reports side by side with what explains each difference."""
    form, sent, scope = _form(request)
    if not form.is_bound:
        return _page(request, form)
    if not form.is_valid():
        return _page(request, form, status=400)
    asked = form.cleaned_data
    try:
        found = two_reports(asked["as_of"], asked["known_at"], scope=scope)
    except DoesNotReconcile as error:
        problem = _("This report does not account for every item: %s Run verify_ledger.") % error
        return _page(request, form, problem=problem, status=500)
    compared = held_against_sent(sent, csv_lines(found.then)) if sent else None
    return _page(request, form, found=found, compared=compared)


def csv(request: HttpRequest) -> HttpResponseBase:
    """Every row of either report, both sides in one line."""
    form, _sent, scope = _form(request)
    if not form.is_bound or not form.is_valid():
        return _page(request, form, problem=_("Name the day."), status=400)
    asked = form.cleaned_data
    found = two_reports(asked["as_of"], asked["known_at"], scope=scope)
    name = f"{'DEMO-' if settings.DEMO else ''}as-of-{asked['as_of'].isoformat()}.csv"
    return StreamingHttpResponse(
        inert_lines(COLUMNS, _cells(found)),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def _form(request: HttpRequest) -> tuple[AsOfForm, WeeklyReport | None, Scope]:
    """The form, the sent report that is asked for, and whose gear is shown: never more than the person may see."""
    scope = scope_of(cast(User, request.user))
    sent = _sent(request.GET.get("sent", ""), scope)
    if sent is not None:
        day, known_at = question_of(sent)
        values = {"as_of": day.isoformat(), "known_at": known_at.isoformat()}
        return AsOfForm(values), sent, Scope("depot", sent.depot) if sent.depot else scope
    return AsOfForm(request.GET if "as_of" in request.GET else None), None, scope


def _sent(typed: str, scope: Scope) -> WeeklyReport | None:
    try:
        return sent_reports(scope).filter(pk=UUID(typed)).first() if typed else None
    except ValueError:
        return None


def _page(
    request: HttpRequest,
    form: AsOfForm,
    *,
    found: TwoReports | None = None,
    compared: AsSent | None = None,
    problem: str = "",
    status: int = 200,
) -> HttpResponse:
    scope = scope_of(cast(User, request.user))
    told: dict[str, Any] = {
        "title": _("The book on a past day"),
        "form": form,
        "problem": problem,
        "sent": [(one, str(one)) for one in sent_reports(scope, newest=60)],
    }
    if found is not None:
        heading = found.then.heading
        asked = {"as_of": heading.as_of.isoformat(), "known_at": form.cleaned_data["known_at"].isoformat()}
        chosen = {"sent": str(compared.report.pk)} if compared else asked
        told |= {
            "as_of": wording.day(heading.as_of),
            "known_at": moment(form.cleaned_data["known_at"]),
            "scope": heading.scope,
            "query": urlencode(chosen),
            "totals": _totals(found.then, found.now),
            "different": [_difference(one, found) for one in found.different[:ON_PAGE]],
            "different_count": len(found.different),
            "same_count": len(found.pairs) - len(found.different),
            "rules": [_entry(one) for one in found.rules],
            "doubtful": found.doubtful,
            "usable": [row(line) for line in found.then.usable_now[:ON_PAGE]],
            "usable_count": len(found.then.usable_now),
            "most": ON_PAGE,
            "compared": compared,
            "differ": compared.differ[:ON_PAGE] if compared else (),
        }
    return render(request, "reports/as_of.html", told, status=status)


def _totals(then: OverdueReport, now: OverdueReport) -> list[tuple[str, int, int]]:
    """The figures of page one and the size of the book, then and now."""
    names = (
        (_("Overdue in somebody's hands"), lambda one: one.counts.overdue),
        (_("Stopped for another reason in somebody's hands"), lambda one: one.counts.blocked),
        (_("Without an answer in somebody's hands"), lambda one: one.counts.unknown_in_hands),
        (_("Lost"), lambda one: one.counts.lost),
        (_("Off the road"), lambda one: len(one.off_the_road)),
        (_("Falls due"), lambda one: len(one.due_soon)),
        (_("Items in the book"), lambda one: one.totals["items_in_book"]),
    )
    return [(name, of(then), of(now)) for name, of in names]


def _difference(pair: Pair, found: TwoReports) -> dict[str, Any]:
    causes = found.causes.get(pair.item_no, ())
    return {
        "item_no": pair.item_no,
        "then": _side(pair.then),
        "now": _side(pair.now),
        "causes": [_entry(one, of=pair.item_no) for one in causes[:10]],
        "by_rules": not causes and bool(found.rules),
        "unexplained": not causes and not found.rules,
    }


def _side(placed: Placed) -> dict[str, Any]:
    name = LIST_NAMES.get(placed.list, placed.list)
    return {"list": name, "row": row(placed.line) if placed.line is not None else None}


def _entry(entry: Entry, *, of: str = "") -> dict[str, Any]:
    """A later entry in words, with the piece where it is a mate's."""
    number = entry.item.item_no if entry.item else ""
    return {
        "title": entry_words.title(entry.kind),
        "recorded": moment(entry.recorded_at),
        "about": wording.day(entry.occurred_on),
        "by": entry.by.name if entry.by else _("nobody signed in"),
        "item_no": number,
        "mate": number if number != of else "",
        "pk": entry.pk,
    }


def _cells(found: TwoReports) -> Iterator[tuple[Cell, ...]]:
    for pair in found.pairs:
        causes = "" if pair.same else " ".join(str(one.pk) for one in found.causes.get(pair.item_no, ()))
        same = "yes" if pair.same else "no"
        yield (pair.item_no, same, *_side_cells(pair.then), *_side_cells(pair.now), causes)


def _side_cells(placed: Placed) -> tuple[Cell, ...]:
    line = placed.line
    if line is None:
        return (placed.list, *(None,) * (len(SIDE) - 1))
    return (
        placed.list,
        line.verdict,
        line.condition,
        line.holder,
        line.crew,
        line.depot,
        line.good_through,
        line.days_over,
        line.days_left,
        " ".join(one.code for one in line.reasons),
    )
