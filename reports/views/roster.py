"""The roster: who is clear for so many days, whom the shelves would make clear, and what everybody lacks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Any, cast

from django.conf import settings
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from gear import wording
from gear.models import Holder, User
from gear.queries import described, question
from gear.rules.packs import CLASSES
from gear.spreadsheets import inert_lines
from inspections.queries.jobs import trucks
from reports.permissions import scope_of
from reports.queries.roster import roster_of
from reports.rules.roster import LONGEST, SHORTEST, USUAL, Asked, Roster, Standing

COLUMNS = ("person", "crew", "depot", "size", "state", "lacks", "class", "last_day")
STATES = {"clear": "CLEAR", "shelf": "FROM_SHELF", "short": "SHORT"}


class BadRoster(ValueError):
    """What was asked cannot be answered. The message says what to write."""


@dataclass(frozen=True)
class Question:
    """What was asked: days ahead, class, and a truck or none."""

    days: int
    cls: str
    truck: Holder | None


def page(request: HttpRequest) -> HttpResponse:
    """Three lists, person by person, with the numbers on top."""
    typed = {name: request.GET.get(name, "") for name in ("days", "cls", "truck")}
    context: dict[str, Any] = {
        "title": _("Who is clear for so many days"),
        "days": typed["days"] or str(USUAL),
        "cls": typed["cls"] or "2",
        "truck": typed["truck"],
        "classes": CLASSES,
        "trucks": trucks(),
    }
    try:
        asked = _asked(request)
    except BadRoster as error:
        return render(request, "reports/roster.html", {**context, "problem": str(error)}, status=400)
    found, lines = _found(request, asked)
    last = question().as_of + timedelta(days=asked.days)
    shown = {
        "numbers": _numbers(found),
        "last": wording.day(last),
        "lines": [_line_words(one) for one in lines],
    }
    groups = [
        {"state": "clear", "heading": _("Clear now"), "rows": _rows(found, "clear")},
        {"state": "shelf", "heading": _("Clear with what lies on shelves"), "rows": _rows(found, "shelf")},
        {"state": "short", "heading": _("Not clear"), "rows": _rows(found, "short")},
    ]
    query = urlencode({"days": asked.days, "cls": asked.cls, "truck": asked.truck.pk if asked.truck else ""})
    return render(request, "reports/roster.html", {**context, **shown, "groups": groups, "query": query})


def csv(request: HttpRequest) -> HttpResponseBase:
    """Everybody in one table."""
    try:
        asked = _asked(request)
    except BadRoster:
        return page(request)
    found, _lines = _found(request, asked)
    last = question().as_of + timedelta(days=asked.days)

    def cells() -> Iterator[tuple[Any, ...]]:
        for one in found.standings:
            who = one.person
            told = (who.name, who.crew, who.depot, who.size, STATES[_state(found, one)], _lacks(one))
            yield (*told, asked.cls, last)

    name = f"{'DEMO-' if settings.DEMO else ''}roster.csv"
    return StreamingHttpResponse(
        inert_lines(COLUMNS, cells()),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def _asked(request: HttpRequest) -> Question:
    days, cls = request.GET.get("days", "").strip() or str(USUAL), request.GET.get("cls", "") or "2"
    if not (days.isascii() and days.isdigit() and len(days) < 4 and SHORTEST <= int(days) <= LONGEST):
        bounds = {"first": SHORTEST, "last": LONGEST}
        raise BadRoster(_("Days: give a whole number from %(first)d to %(last)d.") % bounds)
    if cls not in CLASSES:
        raise BadRoster(_("The class must be one of %s.") % ", ".join(CLASSES))
    wanted = request.GET.get("truck", "")
    if not wanted:
        return Question(int(days), cls, None)
    truck = (
        trucks().filter(pk=int(wanted)).first()
        if wanted.isascii() and wanted.isdigit() and len(wanted) < 10
        else None
    )
    if truck is None:
        raise BadRoster(_("There is no such truck. Choose one from the list."))
    return Question(int(days), cls, truck)


def _found(request: HttpRequest, asked: Question) -> tuple[Roster, tuple[Asked, ...]]:
    scope = scope_of(cast(User, request.user))
    return roster_of(question(), days=asked.days, cls=asked.cls, truck=asked.truck, scope=scope)


def _state(found: Roster, one: Standing) -> str:
    if one.clear:
        return "clear"
    return "shelf" if one.person.name in found.kitted else "short"


def _rows(found: Roster, state: str) -> list[dict[str, str]]:
    return [
        {
            "name": one.person.name,
            "crew": one.person.crew,
            "size": one.person.size or _("not on record"),
            "lacks": _lacks(one),
        }
        for one in found.standings
        if _state(found, one) == state
    ]


def _numbers(found: Roster) -> list[tuple[str, str]]:
    clear = sum(one.clear for one in found.standings)
    crews = str(found.crews) if found.proven else _("at least %d") % found.crews
    return [
        (_("people asked about"), str(len(found.standings))),
        (_("clear now"), str(clear)),
        (_("clear with the shelves, at most"), str(clear + len(found.kitted))),
        (_("whole crews clear now"), str(found.crews_now)),
        (_("whole crews with the shelves, at most"), crews),
    ]


def _lacks(one: Standing) -> str:
    return "; ".join(f"{count} x {_line_kind(line)}" for line, count in one.lacks)


def _line_kind(line: Asked) -> str:
    kinds = {"glove": _("pair of gloves"), "sleeve": _("pair of sleeves")}
    kind = str(kinds.get(line.kind) or described.kind_word(line.kind).lower())
    if line.classes is None:
        return kind
    if len(line.classes) == 1:
        return _("%(kind)s, class %(cls)s") % {"kind": kind, "cls": line.classes[0]}
    return _("%(kind)s, class %(cls)s or higher") % {"kind": kind, "cls": line.classes[0]}


def _line_words(line: Asked) -> str:
    return f"{line.count} x {_line_kind(line)}"
