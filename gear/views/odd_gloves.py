"""Single gloves and sleeves whose mate is gone, and the pairs that they would make."""

from __future__ import annotations

from typing import Any, cast
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import permissions, queries, wording
from gear.actions import sets
from gear.actions.acting import REFUSALS, Act
from gear.actions.submissions import once
from gear.models import Item, User
from gear.queries import described
from gear.queries.entry_words import holder_word
from gear.queries.pairs import Odd, odd_pieces
from gear.rules.pairs import Single, best_matings
from gear.views.reasons import said_once


def odd_gloves(request: HttpRequest) -> HttpResponse:
    """Every single piece, and as many pairs as can be made of them, those that give most days first."""
    problem, status = "", 200
    if request.method == "POST":
        try:
            return _mated(request)
        except (*REFUSALS, ValueError) as error:
            problem, status = str(error) or _("This page cannot be read. Load it again."), 422
    asked = queries.question()
    found = odd_pieces(asked)
    by_number = {one.facts.item_no: one for one in found}
    matings = best_matings(one.single for one in found if one.single)
    page = {
        "title": _("Odd gloves"),
        "problem": problem,
        "matings": [_mating(pair, by_number, asked) for pair in matings],
        "rows": [_row(one) for one in found],
        "may_mate": permissions.can(cast(User, request.user), "mate"),
    }
    return render(request, "gear/odd_gloves.html", page, status=status)


def _mated(request: HttpRequest) -> HttpResponse:
    person, client_id = cast(User, request.user), UUID(request.POST.get("id", ""))
    numbers = [request.POST.get(name, "").replace("\x00", "") for name in ("left", "right")]
    pieces = [Item.objects.filter(item_no=number).first() for number in numbers]
    left, right = pieces
    if left is None or right is None:
        raise ValueError(_("There is no such item in the book."))

    def work() -> dict[str, Any]:
        return {"set_no": sets.remate(left, right, act=Act(person, id=client_id)).set_no}

    body = {"left": left.item_no, "right": right.item_no}
    answer, _is_new = once(client_id, act="remate", body=body, by=person, work=work)
    told = queries.answer(left.item_no, queries.question())
    messages.success(
        request,
        _("%(left)s and %(right)s are the pair %(set)s: %(answer)s.")
        % {**body, "set": answer["set_no"], "answer": wording.verdict(told)},
    )
    return redirect("odd_gloves")


def _mating(
    pair: tuple[Single, Single], by_number: dict[str, Odd], asked: queries.Question
) -> dict[str, Any]:
    left, right = pair
    days = (min(left.gives, right.gives) - asked.as_of).days
    facts = [by_number[one.item_no].facts for one in pair]
    places = [holder_word(one.holder) if one.holder else "" for one in facts]
    return {
        "id": uuid4(),
        "left": left.item_no,
        "right": right.item_no,
        "what": _make(by_number[left.item_no]),
        "days": ngettext("%d day", "%d days", days) % days,
        "places": list(dict.fromkeys(places)),
    }


def _make(one: Odd) -> str:
    identity = {**one.facts.identity, "hand": None}
    words = (
        described.heading(identity),
        described.length(identity.get("length_mm")),
        _("type %s") % identity["type"] if identity.get("type") else "",
        str(identity.get("colour") or ""),
        str(identity.get("maker") or ""),
    )
    return ", ".join(word for word in words if word)


def _row(one: Odd) -> dict[str, Any]:
    reasons = [reason for reason in said_once(one.answer.reasons) if reason.code != "SET_NOT_COMPLETE"]
    why = [wording.short(reason) for reason in reasons]
    if one.facts.usable:
        why.insert(0, _("in somebody's hands: take it back first"))
    return {
        "item_no": one.facts.item_no,
        "what": _make(one),
        "hand": described.hand_word(one.facts.identity.get("hand")) or _("hand not stated"),
        "where": holder_word(one.facts.holder) if one.facts.holder else _("not on record"),
        "mates": ", ".join(f"{mate.item_no} {_gone(mate.condition)}" for mate in one.mates) or _("no mate"),
        "good_through": wording.day(one.answer.good_through) if one.answer.good_through else _("no date"),
        "why": ", ".join(why),
    }


def _gone(condition: str) -> str:
    return {"rejected": _("rejected"), "destroyed": _("destroyed"), "lost": _("lost")}.get(
        condition, condition
    )
