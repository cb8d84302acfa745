"""The coming weeks against what bench and labs take; the list behind them; and the capacities that were stated."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, cast

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from gear import permissions, wording
from gear.actions.acting import REFUSALS, Act
from gear.models import HOLDER_NAMES, User
from gear.queries import Question, question
from gear.queries.described import kind_word
from gear.spreadsheets import inert_lines
from gear.views.sending import refused_in
from reports.actions.capacity import state_capacity
from reports.forms.capacity import CapacityForm
from reports.permissions import scope_of
from reports.queries import coming_weeks as reads
from reports.rules.planning import LONGEST, SHORTEST, USUAL, Ahead, Week, room_in, takes
from reports.wording import coming_weeks as words

FIGURES = ("week", "from", "through", "kind", "due", "takes", "too_many")
PIECES = ("week", "item_no", "kind", "last_good_day", "crew", "depot", "where_it_could_be_used")


class BadWeeks(ValueError):
    """The weeks cannot be looked ahead. The message says how many can."""


def page(request: HttpRequest) -> HttpResponse:
    """The picture, the table beside it, and where what falls due is."""
    context: dict[str, Any] = {"title": _("Coming weeks"), "count": request.GET.get("weeks", "")}
    try:
        count = _weeks(request)
    except BadWeeks as error:
        return render(request, "reports/coming_weeks.html", {**context, "problem": str(error)}, status=400)
    asked, scope = question(), scope_of(cast(User, request.user))
    ahead = reads.coming_weeks(asked, weeks=count)
    replacing = reads.replacing(asked, ahead.load, scope=scope)
    context |= {
        "count": str(count),
        "ahead": ahead,
        "as_of": wording.day(asked.as_of),
        "picture": words.picture(ahead),
        "room": words.room_sentence(ahead),
        "waiting": _row(None, ahead, replacing),
        "rows": [_row(week, ahead, replacing) for week in ahead.weeks],
        "places": [_place(place, counts, replacing) for place, counts in reads.where_due(ahead.load, scope)],
        "scoped": scope.name if scope.kind != "book" else "",
        "not_listed": [(told, number) for told, number in words.not_listed(ahead) if number],
        "marked": sum(one.marked for one in ahead.load.due),
        "query": f"?weeks={count}",
    }
    return render(request, "reports/coming_weeks.html", context)


def csv(request: HttpRequest) -> HttpResponseBase:
    """Week by week and kind by kind: what falls due, what is taken, what is too many."""
    return _file(request, "coming-weeks", FIGURES, lambda ahead, _asked: _figures(ahead))


def pieces_csv(request: HttpRequest) -> HttpResponseBase:
    """Every piece of the due list that this person may see."""
    scope = scope_of(cast(User, request.user))

    def cells(ahead: Ahead, _asked: Question) -> Iterator[tuple]:
        for one in ahead.load.due:
            if scope.covers(one.place):
                week = "before" if one.waits else words.week_key(one.on)
                used = "yes" if one.usable else "no"
                yield (week, one.item_no, one.kind, one.on, one.place.crew, one.place.depot, used)

    return _file(request, "due-list", PIECES, cells)


def _file(request: HttpRequest, name: str, columns: tuple[str, ...], cells: Any) -> HttpResponseBase:
    try:
        count = _weeks(request)
    except BadWeeks:
        return page(request)
    asked = question()
    ahead = reads.coming_weeks(asked, weeks=count)
    named = f"{'DEMO-' if settings.DEMO else ''}{name}.csv"
    return StreamingHttpResponse(
        inert_lines(columns, cells(ahead, asked)),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{named}"'},
    )


def _weeks(request: HttpRequest) -> int:
    typed = request.GET.get("weeks", "").strip() or str(USUAL)
    if not (typed.isascii() and typed.isdigit() and len(typed) < 4 and SHORTEST <= int(typed) <= LONGEST):
        bounds = {"first": SHORTEST, "last": LONGEST}
        raise BadWeeks(_("Weeks: give a whole number from %(first)d to %(last)d.") % bounds)
    return int(typed)


def _figures(ahead: Ahead) -> Iterator[tuple]:
    for kind, count in sorted(ahead.load.waiting.items()):
        yield ("before", None, None, kind, count, None, None)
    for week in ahead.weeks:
        room = room_in(ahead.stated, week.monday)
        named = (words.week_key(week.monday), week.monday, week.sunday)
        for kind, count in sorted(week.due.items()):
            most = sum(takes(stated, [kind]) for stated in room.values()) if room else None
            yield (*named, kind, count, most, None if most is None else max(0, count - most))
        yield (*named, "all", week.count, week.capacity, week.over if week.fit else None)


def _row(week: Week | None, ahead: Ahead, replacing: reads.Replacing) -> dict[str, Any]:
    """One week of the table; without a week, what is due already."""
    due = week.due if week else ahead.load.waiting
    pairs = replacing.by_week.get(week.monday if week else None)
    return {
        "name": words.week_name(week.monday) if week else _("Due already"),
        "due": sum(due.values()),
        "takes": week.capacity if week else None,
        "over": week.over if week else 0,
        "short": words.short_sentence(week) if week else "",
        "kinds": words.kinds_of(due),
        "pairs": _pairs(pairs),
    }


def _pairs(pairs: reads.Pairs | None) -> str:
    return _("%(ready)d of %(due)d") % {"ready": pairs.ready, "due": pairs.due} if pairs else ""


def _place(place: Any, counts: Any, replacing: reads.Replacing) -> dict[str, Any]:
    return {
        "crew": place.crew or _("in no crew"),
        "depot": place.depot or "",
        "waits": counts.get(None, 0),
        "weeks": words.weeks_of(counts),
        "pairs": _pairs(replacing.by_place.get(place)),
    }


def capacities(request: HttpRequest) -> HttpResponse:
    """What was stated, the newest first; stating another figure."""
    user = cast(User, request.user)
    may, status = permissions.can(user, "plan_capacity"), 200
    form = CapacityForm(request.POST or None, initial={"first": question().as_of})
    if request.method == "POST" and form.is_valid():
        try:
            row = state_capacity(**form.cleaned_data, act=Act(user))
        except REFUSALS as error:
            status = refused_in(form, error)
        else:
            told = {"place": row.place.name, "pieces": row.pieces, "week": words.week_name(row.first_week)}
            messages.success(request, _("%(place)s: %(pieces)d pieces a week from %(week)s.") % told)
            return redirect("capacities")
    elif form.is_bound:
        status = 422
    context = {
        "title": _("What bench and labs take"),
        "form": form,
        "may_state": may,
        "rows": [_stated(row) for row in reads.stated()],
    }
    return render(request, "reports/capacities.html", context, status=status)


def _stated(row: Any) -> dict[str, Any]:
    return {
        "place": f"{row.place.name} ({HOLDER_NAMES[row.place.kind]})",
        "kind": kind_word(row.kind) if row.kind else _("everything together"),
        "pieces": row.pieces,
        "from": words.week_name(row.first_week),
        "through": words.week_name(row.last_week) if row.last_week else _("until changed"),
        "note": row.note,
        "who": f"{row.by.name}, {wording.day(timezone.localdate(row.at))}",
    }
