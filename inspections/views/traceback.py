"""Trace back: from one piece to whoever had it, its mates, its bench session, its lot and its carton."""

from __future__ import annotations

import logging
from collections.abc import Iterator, Sequence
from typing import Any, cast

from django.conf import settings
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import permissions, wording
from gear.actions.acting import Act, Refused
from gear.actions.batches import Cause, hold_all
from gear.forms.batches import HoldForm
from gear.models import Item, User
from gear.pdf import NotSet
from gear.queries import Question, described, entry_words, question
from gear.queries.identified import Meant, meant_by
from gear.queries.whereabouts import items_in
from gear.rules.entries import UNREADABLE
from gear.rules.whereabouts import Found
from gear.spreadsheets import Cell, inert_lines
from gear.views.recall import held
from gear.views.sending import sent_values
from gear.views.whereabouts import file_answer, hold_form, holder_word, listing, mark_of, on_paper, paper_of
from inspections.queries.traceback import TraceBack, trace_back
from inspections.rules.traceback import JOB, Stay, Window
from inspections.views.traceback_words import said_of, stay_told, tie_words, use_told

log = logging.getLogger(__name__)
TITLE = gettext_lazy("Trace back")
ABOUT = gettext_lazy("Tied to it by")
COLUMNS = (
    "list", "traced", "item_no", "tied_by", "kind", "class", "serial", "lot", "usable_now", "verdict", "reasons",
    "holder_kind", "holder", "crew", "depot", "had_from", "had_through", "days", "days_with_a_check", "window_from",
    "window_through", "as_of",
)  # fmt: skip


def page(request: HttpRequest) -> HttpResponse:
    """The form, and of one piece everything that its failure may concern, with the form that holds all of it."""
    asked = question()
    found, problem, meant = _traced(request, asked)
    if found is None:
        return _page(request, asked, problem=problem, meant=meant, status=400 if problem else 200)
    if request.method == "POST":
        return _hold(request, asked, found)
    return _page(request, asked, found=found)


def csv(request: HttpRequest) -> HttpResponseBase:
    """Who had it, one line each, and then every piece tied to it."""
    asked = question()
    found, problem, meant = _traced(request, asked)
    if found is None:
        return _page(request, asked, problem=problem or _("Name a piece."), meant=meant, status=400)
    demo = "DEMO-" if settings.DEMO else ""
    headers = {"Content-Disposition": f'attachment; filename="{demo}trace-back-{found.item.item_no}.csv"'}
    lines = inert_lines(COLUMNS, _rows(found, asked))
    return StreamingHttpResponse(lines, content_type="text/csv; charset=utf-8", headers=headers)


def pdf(request: HttpRequest) -> HttpResponse:
    """The same on paper: who had it, and a box to tick for each piece."""
    asked = question()
    found, problem, meant = _traced(request, asked)
    if found is None:
        return _page(request, asked, problem=problem or _("Name a piece."), meant=meant, status=400)
    try:
        content = on_paper(
            found.related,
            asked,
            title=_("What a failure of %s may concern") % found.item.item_no,
            lead=[said_of(found), *(stay_told(one) for one in found.stays)],
            paper=paper_of(request),
            about=tie_words,
            about_title=str(ABOUT),
        )
    except NotSet as error:
        log.error("The trace of %s could not be set: %s", found.item.item_no, error.detail)
        return _page(request, asked, found=found, problem=str(error), status=503)
    return file_answer(content, f"trace-back-{found.item.item_no}")


def _traced(request: HttpRequest, asked: Question) -> tuple[TraceBack | None, str, Meant]:
    """(what was found of the piece that is meant, why there is nothing, the pieces that may be meant)."""
    typed = request.GET.get("item", "").strip()
    if not typed:
        return None, "", Meant()
    meant = meant_by(typed, base_url=settings.BASE_URL)
    if meant.item is None:
        several = _("Several pieces bear that serial. Choose the one that is meant.")
        return None, several if meant.items else _("Nothing in the book goes by that."), meant
    item = Item.objects.select_related("item_type").get(pk=meant.item.pk)
    try:
        return trace_back(item, asked), "", meant
    except UNREADABLE:
        log.exception("The record of %s could not be traced", item.item_no)
        unreadable = _("The record of %s cannot be read. Have the administrator run verify_ledger.")
        return None, unreadable % item.item_no, Meant()


def _hold(request: HttpRequest, asked: Question, found: TraceBack) -> HttpResponse:
    sent, person = HoldForm(request.POST), cast(User, request.user)
    body = {"item": found.item.item_no}
    if not sent.is_valid():
        return _page(request, asked, found=found, hold=sent, status=422)

    def work() -> dict[str, Any]:
        if mark_of(found.related) != sent.cleaned_data["shown"]:
            raise Refused("LIST_CHANGED")
        since = found.window.since.isoformat() if found.window.since else None
        batch = hold_all(
            items_in(found.related),
            cause=Cause(
                "piece",
                _("Tied to %s by use, bench, lot or carton") % found.item.item_no,
                {**body, "since": since, "through": found.window.through.isoformat()},
            ),
            reason=sent.cleaned_data["reason"],
            act=Act(person, id=sent.cleaned_data["id"]),
        )
        return {"batch": batch.number}

    def again(status: int) -> HttpResponse:
        return _page(request, asked, found=found, hold=sent, status=status)

    return held(request, sent, {**body, **sent_values(request, sent)}, work, again)


def _rows(found: TraceBack, asked: Question) -> Iterator[tuple[Cell, ...]]:
    window = (found.window.since, found.window.through, asked.as_of)
    for stay in found.stays:
        yield _stay_cells(stay, found, window)
    for name, pieces in (("tied", found.related), ("cannot_be_held", found.apart)):
        for one in sorted(pieces, key=lambda each: (not each.usable, each.item_no)):
            yield _piece_cells(name, one, found, window)


def _stay_cells(stay: Stay, found: TraceBack, window: tuple[Cell, ...]) -> tuple[Cell, ...]:
    holder, blank = stay.holder, ("",) * 9
    place = tuple(holder.get(name) for name in ("kind", "name", "crew", "depot"))
    days = (stay.since, stay.through, stay.days, stay.used_days)
    return ("holder", found.item.item_no, *blank, *place, *days, *window)


def _piece_cells(name: str, one: Found, found: TraceBack, window: tuple[Cell, ...]) -> tuple[Cell, ...]:
    identity = one.facts.identity
    return (
        name,
        found.item.item_no,
        one.item_no,
        tie_words(one.about),
        described.kind_word(identity.get("kind")),
        identity.get("class"),
        identity.get("serial"),
        identity.get("lot"),
        "yes" if one.usable else "no",
        one.answer.verdict,
        " ".join(wording.sentence(reason) for reason in one.answer.reasons),
        *one.holder,
        one.place.crew,
        one.place.depot,
        *("",) * 4,
        *window,
    )


def _stays(stays: Sequence[Stay]) -> list[dict[str, Any]]:
    return [
        {
            "name": holder_word(one.holder.get("kind") or "", one.holder.get("name") or ""),
            "place": ", ".join(one.holder[name] for name in ("crew", "depot") if one.holder.get(name)),
            "since": wording.day(one.since),
            "through": wording.day(one.through) if one.through else _("still there"),
            "days": one.days,
            "used": one.used_days,
            "uses": [use_told(use) for use in one.uses[:20]],
            "more": max(0, len(one.uses) - 20),
        }
        for one in stays
    ]


def _ends(window: Window) -> list[tuple[str, str, str, str]]:
    """(what began or ended the window, its day, what the entry is called, its id) for the links."""
    ends = []
    for line, word in ((window.good, _("Last good test")), (window.bad, _("Failure"))):
        if line is not None:
            ends.append((word, wording.day(line.occurred_on), entry_words.title(line.kind), str(line.id)))
    return ends


def _page(
    request: HttpRequest,
    asked: Question,
    *,
    found: TraceBack | None = None,
    hold: HoldForm | None = None,
    meant: Meant | None = None,
    problem: str = "",
    status: int = 200,
) -> HttpResponse:
    told: dict[str, Any] = {
        "title": TITLE,
        "typed": request.GET.get("item", ""),
        "problem": problem,
        "choices": meant.items if meant and len(meant.items) > 1 else (),
    }
    if found is not None:
        if hold is not None:
            hold.data = {**hold.data.dict(), "shown": mark_of(found.related)}
        may = permissions.can(cast(User, request.user), "hold_batch")
        told |= {
            "item": found.item,
            "what": described.heading(_identity(found)),
            "said": said_of(found),
            "ends": _ends(found.window),
            "stays": _stays(found.stays),
            "sessions": found.sessions,
            "shipments": found.shipments,
            "apart": [one.item_no for one in found.apart],
            "list": listing(found.related, about=tie_words),
            "about_title": ABOUT,
            "job": JOB,
            "hold": (hold or hold_form(found.related)) if may else None,
            "query": request.GET.urlencode(),
        }
    return render(request, "inspections/trace_back.html", told, status=status)


def _identity(found: TraceBack) -> dict[str, Any]:
    own = [one for one in (*found.related, *found.apart) if one.item_no == found.item.item_no]
    return own[0].facts.identity if own else {}
