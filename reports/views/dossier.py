"""The record of a piece as of a moment: asked for, on paper, and checked by its code."""

from __future__ import annotations

import logging
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, cast
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from gear import permissions
from gear.models import Item, User
from gear.queries.identified import meant_by
from gear.queries.questions import EARLIEST, LATEST, BadQuestion, moment_in
from gear.rules import moments
from gear.views.addresses import address_of
from gear.views.moments import moment
from gear.views.visitors import count_miss, has_guessed_too_often
from gear.views.whereabouts import file_answer, paper_of
from reports.pdf import NotSet
from reports.pdf.dossier import check_address, dossier_pdf, stated
from reports.pdf.dossier_words import told
from reports.queries.dossier import Dossier, dossier
from reports.rules import dossier_check

log = logging.getLogger(__name__)
PROGRAM = Path(dossier_check.__file__)


class NotAsked(ValueError):
    """What was asked for cannot be looked up. `field` is at fault; `choices` are what may have been meant."""

    def __init__(self, field: str, message: str, choices: list[tuple[str, str]] | None = None) -> None:
        super().__init__(message)
        self.field, self.choices = field, choices or []


def page(request: HttpRequest) -> HttpResponse:
    """`?item=` number, label code or serial, `at=` a minute of the site's clocks, `known_at=` empty for now."""
    asking = {name: request.GET.get(name, "").strip() for name in ("item", "at", "known_at")}
    context: dict[str, Any] = {
        "title": _("Record as of a moment"),
        "asking": asking,
        "zone": settings.TIME_ZONE,
    }
    if not asking["at"]:  # as from the page of a piece: the moment is still to be named
        return render(request, "reports/record_of.html", context)
    try:
        found = _found(request, asking)
    except NotAsked as error:
        context |= {
            "problem": error,
            "choices": [(words, _again(asking, error.field, value)) for words, value in error.choices],
        }
        return render(
            request, "reports/record_of.html", context, status=404 if error.field == "item" else 400
        )
    context |= {
        "told": told(found, depot=_bound(request)),
        "links": _links(request, found),
        "person": request.user,
    }
    return render(request, "reports/record_of.html", context)


def pdf(request: HttpRequest) -> HttpResponse:
    """The same on paper, with a form for its chain of custody as the last page."""
    asking = {name: request.GET.get(name, "").strip() for name in ("item", "at", "known_at")}
    try:
        found = _found(request, asking)
        content = dossier_pdf(
            found, depot=_bound(request), printed_at=timezone.now(), paper=paper_of(request)
        )
    except NotAsked as error:
        return HttpResponse(str(error), status=400, content_type="text/plain; charset=utf-8")
    except NotSet as error:
        log.error("The record of %s could not be set: %s", asking["item"], error.detail)
        return HttpResponse(str(error), status=503, content_type="text/plain; charset=utf-8")
    return file_answer(content, f"record-{found.item.item_no}-{found.as_of:%Y%m%dT%H%MZ}")


def _found(request: HttpRequest, asking: dict[str, str]) -> Dossier:
    person, now = cast(User, request.user), timezone.now().replace(microsecond=0)
    meant = meant_by(asking["item"], base_url=settings.BASE_URL)
    if meant.item is None:
        choices = [(item.item_no, item.item_no) for item in meant.items]
        told_why = (
            _("Several pieces bear that serial. Choose the one that is meant.")
            if choices
            else _("Nothing in the book goes by that. Give an item number, a label code or a serial.")
        )
        raise NotAsked("item", told_why, choices)
    item = Item.objects.select_related("item_type").get(pk=meant.item.pk)
    as_of = read_moment("at", asking["at"])
    known_at = read_moment("known_at", asking["known_at"]) if asking["known_at"] else now
    if as_of > now:
        raise NotAsked("at", _("That moment lies in the future. Nothing is on record of it."))
    if not as_of <= known_at <= now:
        raise NotAsked(
            "known_at", _("Ask for what was known at that moment or later, and not in the future.")
        )
    return dossier(item, as_of, known_at, to=person, depot=permissions.bound_to(person))


def read_moment(field: str, text: str) -> datetime:
    """A minute of the site's clocks (2026-09-10T05:52), or a moment with its offset. Raises NotAsked.

    A minute that the clocks showed twice is asked about; one that they never showed is refused.
    """
    try:
        wall = datetime.fromisoformat(text.replace(" ", "T", 1))
    except ValueError:
        wall = None
    if wall is None or len(text) < len("2026-09-10T05:52"):
        raise NotAsked(field, _("Write a day and a time, as 2026-09-10T05:52, in %s.") % settings.TIME_ZONE)
    if wall.tzinfo is not None:
        try:
            return moment_in(field, text).astimezone(UTC)
        except BadQuestion as error:
            raise NotAsked(field, str(error)) from None
    if not EARLIEST <= wall.date() <= LATEST:
        raise NotAsked(field, _("That day is out of range."))
    found = moments.moments_of(wall, ZoneInfo(settings.TIME_ZONE))
    if not found:
        raise NotAsked(field, _("The clocks never showed that time: they were put forward over it."))
    if len(found) > 1:
        choices = [(moment(one), one.astimezone(ZoneInfo(settings.TIME_ZONE)).isoformat()) for one in found]
        raise NotAsked(field, _("The clocks showed that time twice. Which of the two is meant?"), choices)
    return found[0]


def _again(asking: dict[str, str], field: str, value: str) -> str:
    return "?" + urlencode({name: one for name, one in {**asking, field: value}.items() if one})


def _bound(request: HttpRequest) -> Any:
    return permissions.bound_to(cast(User, request.user))


def _links(request: HttpRequest, found: Dossier) -> dict[str, str]:
    item_no, trace = found.item.item_no, address_of("trace_back")
    may = cast(User, request.user).role in permissions.OFFICE
    return {
        "pdf": f"{reverse('record_pdf')}?{urlencode(stated(found))}",
        "check": check_address(found),
        "trace": f"{trace}?{urlencode({'item': item_no})}" if trace and may else "",
        "keep": "" if found.true_then.facts and found.true_then.facts.evidence else _keep(request, item_no),
    }


def _keep(request: HttpRequest, item_no: str) -> str:
    return (
        address_of("act", item_no, "keep_evidence") if permissions.can(request.user, "keep_evidence") else ""
    )


def check(request: HttpRequest) -> HttpResponse:
    """Whether a paper is what the record says for its two moments, for anybody who holds it."""
    names = ("item", "at", "known_at", "code")
    asked = {name: request.GET.get(name, "").strip()[:120] for name in names}
    context: dict[str, Any] = {"title": _("Check a record of a piece"), **asked}
    if not all(asked.values()):
        return render(request, "reports/record_check.html", context)
    known = request.user.is_authenticated
    if not known and has_guessed_too_often(request):
        context["problem"] = _("Too many tries from here. Wait a minute, then try again.")
        return render(request, "reports/record_check.html", context, status=429)
    context["word"] = _checked(asked)
    if not known and context["word"] != "genuine":
        count_miss(request)
    if context["word"] == "genuine" and known and cast(User, request.user).role in permissions.OFFICE:
        stated = {name: asked[name] for name in names[:3]}
        context["address"] = f"{reverse('record_of')}?{urlencode(stated)}"
    return render(request, "reports/record_check.html", context)


def _checked(asked: dict[str, str]) -> str:
    """ "genuine", "not_genuine" or "cannot_say"; everything is worked out again from the record."""
    item = Item.objects.filter(item_no=asked["item"]).first()
    try:
        as_of, known_at = (moment_in(name, asked[name]) for name in ("at", "known_at"))
    except BadQuestion:
        return "not_genuine"
    if item is None or not as_of <= known_at <= timezone.now():
        return "not_genuine"
    found = dossier(item, as_of, known_at, to=None, depot=None)
    if not found.reliable:
        return "cannot_say"
    typed, wanted = (
        "".join(sign for sign in one.upper() if sign.isalnum()) for one in (asked["code"], found.code)
    )
    return "genuine" if typed == wanted else "not_genuine"


def program(request: HttpRequest) -> HttpResponse:
    """The program that checks such a paper without this service."""
    headers = {"Content-Disposition": 'attachment; filename="record_check.py"'}
    return HttpResponse(PROGRAM.read_bytes(), content_type="text/x-python; charset=utf-8", headers=headers)
