"""A pair for somebody who stands there: the first to expire that gives enough, the days in sight, and where it lies."""

from __future__ import annotations

from typing import Any, cast
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from gear import permissions, queries
from gear.forms.pairs import FindPairForm
from gear.models import User
from gear.queries.pairs import on_shelves
from gear.rules.pairs import Pair, first_to_expire
from gear.views.pair_words import shown_pair

MOST = 40  # pairs that are shown; nobody looks further than the first few


def find_pair(request: HttpRequest) -> HttpResponse:
    """Pairs on shelves that fit, in the order in which they should go out; too short ones stand apart."""
    asked, floor = queries.question(), queries.rules_today().policy.due_soon_days
    chosen = {name: request.GET[name] for name in FindPairForm.base_fields if name in request.GET}
    form = FindPairForm({"kind": "glove", "floor": str(floor), **chosen})
    page: dict[str, Any] = {"title": _("Find a pair now"), "form": form, "asked": bool(chosen)}
    if not form.is_valid():
        return render(request, "gear/find_pair.html", page, status=422 if chosen else 200)
    if chosen:
        del form.fields["cls"].widget.attrs["data-typed-first"]  # Enter hands out the first pair
        page |= _found(request, form, asked)
    return render(request, "gear/find_pair.html", page)


def _found(request: HttpRequest, form: FindPairForm, asked: queries.Question) -> dict[str, Any]:
    person, floor = cast(User, request.user), form.cleaned_data["floor"]
    depot = person.depot.name if person.depot else None
    offers = [one for one in on_shelves(asked, form.wanted()) if depot is None or one.depot in (None, depot)]
    enough = first_to_expire(offers, floor=floor)
    short = [one for one in first_to_expire(offers, floor=0) if one not in enough]
    to = request.GET.get("to", "")
    return {
        "rows": [_row(one, to) for one in enough[:MOST]],
        "count": len(enough),
        "short": [_row(one, to) for one in short[:MOST]],
        "short_count": len(short),
        "floor": floor,
        "depot": depot,
        "may_issue": permissions.can(person, "issue"),
    }


def _row(pair: Pair, to: str) -> dict[str, Any]:
    query = {"new": pair.pieces[0].item_no, **({"to": to} if to.isascii() and to.isdigit() else {})}
    return {**shown_pair(pair), "address": f"{reverse('counter')}?{urlencode(query)}"}
