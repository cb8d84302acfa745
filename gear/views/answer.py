"""May I use this? The full-screen answer to a label code, for a worker at the truck."""

from __future__ import annotations

import logging
from typing import Any

from django.conf import settings
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.html import escape
from django.utils.translation import gettext as _

from gear import queries, wording
from gear.actions.sightings import keep_answer
from gear.models import User
from gear.queries import Question, Scanned, described
from gear.rules import codes
from gear.rules.readiness import Answer, Reason
from gear.views import visitors
from gear.views.acts import AT_THE_TRUCK, acts_for
from gear.views.addresses import address_of
from gear.views.moments import moment
from gear.views.reasons import notes_of, said_once

log = logging.getLogger(__name__)


def ask(request: HttpRequest) -> HttpResponse:
    """The field to type or scan a code into; a code that can be read has an address of its own."""
    typed = request.GET.get("code", "")
    if not typed.strip():
        return render(request, "gear/ask.html", {"title": _("Check a piece of gear")})
    read = codes.normalise(typed, base_url=settings.BASE_URL)
    return redirect("answer", read.code) if read.code else answer(request, typed)


def answer(request: HttpRequest, code: str) -> HttpResponse:
    """The answer to a code, always as a page of status 200: a worker must read the verdict, not a browser's error.

    Whatever breaks on the way gives the page that says `unknown`. Only a visitor who guesses gets another status.
    """
    person = _person(request)
    if person is None and getattr(settings, "ANSWER_NEEDS_SIGN_IN", False):
        return redirect_to_login(request.get_full_path())
    try:
        if person is None and visitors.has_guessed_too_often(request):
            return _nothing_known(
                request, _("Too many codes in a minute. Wait a minute, then scan again."), 429
            )
        return _answered(request, code, person)
    except Exception:
        log.exception("No answer could be given to a code")
        return _nothing_known(request, _("Something broke here, so nothing is known about this item."))


def _answered(request: HttpRequest, code: str, person: User | None) -> HttpResponse:
    asked = queries.question()
    found = queries.scanned(code, asked, base_url=settings.BASE_URL, asked_by=_name_held_under(person))
    response = render(request, "gear/answer.html", _page(found, asked, person))
    if person is None and found.item is None:
        visitors.count_miss(request)
    if request.method == "GET":
        keep_answer(found, asked, typed=code, by=person, device=request.headers.get("User-Agent", ""))
    return response


def _person(request: HttpRequest) -> User | None:
    """Who asks. Only a verdict is at stake: where even that cannot be told, it is nobody."""
    try:
        user = request.user
        return user if user.is_authenticated and user.is_active else None
    except Exception:
        log.exception("It cannot be told who asks")
        return None


def _name_held_under(person: User | None) -> str | None:
    """The name under which the person holds gear, as entries state it."""
    if person is None:
        return None
    held_by = getattr(person, "holder", None)
    return held_by.name if held_by else person.name


def _page(found: Scanned, asked: Question, person: User | None) -> dict[str, Any]:
    answer, seen = found.answer, found.seen
    page = {
        "title": wording.verdict(answer),
        "answer": answer,
        "words": wording.verdict(answer),
        "reasons": [_told(reason, person) for reason in said_once(answer.reasons)],
        "notes": [_told(reason, person) for reason in notes_of(answer)],
        "code": codes.grouped(found.code) if found.code else "",
        "item": seen.item,
        "asked_at": moment(asked.asked_at),
        "asked_in": _zone_after(moment(asked.asked_at)),
        "signed_in": person is not None,
    }
    if seen.facts is not None and seen.item is not None:
        page |= {"heading": described.heading(seen.facts.identity)}
        page |= {"markings": described.markings(seen.facts.identity)}
        page |= {"rating": seen.rating, **_dates(answer), **_rating(found)} if seen.reliable else {}
        if person is not None:
            page |= {"acts": acts_for(person, seen.facts, verbs=AT_THE_TRUCK), "holder": seen.facts.holder}
            page |= {"record_address": address_of("item", seen.item.item_no)}
    return page


def _zone_after(told: str) -> str:
    """The full name of the site's zone, for behind a moment that ends with its short name; once where both are one."""
    return "" if told.endswith(f" {settings.TIME_ZONE}") else f" ({settings.TIME_ZONE})"


def _told(reason: Reason, person: User | None) -> dict[str, str]:
    shown = reason if person is not None else wording.without_free_text(reason)
    return {
        "code": reason.code,
        "sentence": wording.sentence(shown),
        "who": wording.who_to_see(reason),
        "source": reason.source,
    }


def _rating(found: Scanned) -> dict[str, Any]:
    rating, kind = found.seen.rating, found.answer.kind
    if rating is None:
        return {}
    return {
        "max_use": described.volts(rating.max_use),
        "to_ground": described.volts(rating.to_ground),
        "use_note": wording.use_note(kind),
    }


def _dates(answer: Answer) -> dict[str, Any]:
    """The last good days in words: the item's own, its set's, and which clock named them."""
    return {
        "own_day": wording.day(answer.good_through) if answer.good_through else "",
        "clock": wording.clock(answer.winning_clock),
        "set_day": wording.day(answer.set_good_through) if answer.set_good_through else "",
        "set_is_earlier": bool(
            answer.good_through and answer.set_good_through and answer.set_good_through < answer.good_through
        ),
    }


def _nothing_known(request: HttpRequest, why: str, status: int = 200) -> HttpResponse:
    """The page that says `unknown`, made from nothing but its words; if even that breaks, the bare words."""
    page = {"title": wording.VERDICTS["unknown"], "verdict_only": True, "why": why}
    try:
        response = render(request, "gear/answer.html", page, status=status)
    except Exception:
        log.exception("The page of an answer cannot be made")
        words = escape(str(wording.VERDICTS["unknown"]))
        response = HttpResponse(
            f"<!doctype html><html lang=en><title>{words}</title><h1>{words}</h1><p>{escape(why)}</p>",
            status=status,
        )
    if status == 429:
        response.headers["Retry-After"] = str(visitors.TURN)
    return response
