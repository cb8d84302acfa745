"""The start page: find gear by the words of the trade, or see what the day needs."""

from __future__ import annotations

from typing import Any, cast
from urllib.parse import urlencode

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import permissions, queries, wording
from gear.models import CONDITION_NAMES, HOLDER_NAMES, Item, ItemState, Label, User
from gear.queries import Question, described
from gear.queries.entry_words import holder_word
from gear.queries.search import Found, search
from gear.queries.sightings import pieces_seen
from gear.queries.stale_uses import open_stale_uses
from gear.queries.tally import SOON_DAYS, held_by, tally
from gear.rules import codes
from gear.rules.fold import ItemFacts
from gear.rules.packs import RUBBER_KINDS, RulePack
from gear.rules.readiness import Answer
from gear.rules.search import LONGEST, Query, parse
from gear.rules.units import kv_from_volts

STANDINGS = {
    "overdue": gettext_lazy("out of date"),
    "due_soon": gettext_lazy("due soon"),
    "good": gettext_lazy("good"),
    "stop": gettext_lazy("stop"),
    "unknown": gettext_lazy("unknown"),
    "untested": gettext_lazy("not tested"),
    "failed": gettext_lazy("failed test"),
    "incomplete": gettext_lazy("set not complete"),
    "needs_test": gettext_lazy("needs test"),
}


def find(request: HttpRequest) -> HttpResponse:
    """What fits the words of `q`; a label code or a whole item number goes straight to its item."""
    text = "".join(symbol for symbol in request.GET.get("q", "") if symbol.isprintable()).strip()[:LONGEST]
    asked = queries.question()
    if not text:
        return render(request, "gear/home.html", _home(asked, cast(User, request.user)))
    if straight := _straight_to(text):
        return redirect(*straight)
    pack = queries.rules_for(asked).pack
    query = parse(text, pack=pack)
    found = search(query, asked, page=_page_number(request.GET.get("page", "")))
    page = {"title": _("Find gear"), "q": text, "understood": _understood(query), **_results(found, text)}
    page |= {"voltage": _voltage(query, pack), "maybe_code": False}
    if not found.total:
        page["maybe_code"] = codes.normalise(text, base_url=settings.BASE_URL).problem == "mistyped"
    return render(request, "gear/found.html", page)


def _home(asked: Question, person: User) -> dict[str, Any]:
    return {
        "title": _("Find gear"),
        "tally": tally(asked),
        "soon_days": SOON_DAYS,
        "turned_up": pieces_seen(asked.asked_at) if permissions.can(person, "acknowledge") else 0,
        "stale_uses": len(open_stale_uses(asked.asked_at)) if permissions.can(person, "acknowledge") else 0,
        "held": [_row(answer, facts) for answer, facts in held_by(person, asked)],
    }


def _page_number(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 7 else 1


def _straight_to(text: str) -> tuple[str, str] | None:
    """(page, argument) for a text that names one item: its number, or a code of this installation's labels.

    A code that is not the one in force goes to its answer, which says so.
    """
    numbers = list(Item.objects.filter(item_no__iexact=text).values_list("item_no", flat=True)[:2])
    if text in numbers or len(numbers) == 1:
        return ("item", text if text in numbers else numbers[0])
    code = codes.normalise(text, base_url=settings.BASE_URL).code
    label = Label.objects.select_related("item").filter(code=code).first() if code else None
    if code is None:
        return None
    if label is not None and ItemState.objects.filter(item=label.item, label=code).exists():
        return ("item", label.item.item_no)
    return ("answer", code)


def _results(found: Found, text: str) -> dict[str, Any]:
    def address(page: int) -> str:
        return f"?{urlencode({'q': text, 'page': page})}"

    return {
        "rows": [_row(answer, facts) for answer, facts in found.rows],
        "total": found.total,
        "page": found.page,
        "pages": found.pages,
        "earlier": address(found.page - 1) if found.page > 1 else "",
        "later": address(found.page + 1) if found.page < found.pages else "",
    }


def _row(answer: Answer, facts: ItemFacts) -> dict[str, Any]:
    return {
        "item_no": facts.item_no,
        "heading": described.heading(facts.identity),
        "serial": facts.identity.get("serial") or "",
        "length": described.length(facts.identity.get("length_mm")),
        "holder": holder_word(facts.holder) if facts.holder else "",
        "set_no": facts.set_no or "",
        "verdict": answer.verdict,
        "words": wording.verdict(answer),
        "why": ", ".join(dict.fromkeys(wording.short(reason) for reason in answer.reasons)),
        "days_left": answer.days_left if answer.verdict == "good" else None,
    }


def _voltage(query: Query, pack: RulePack | None) -> dict[str, str] | None:
    """How a voltage was understood, and what the class may be used on: the two are not the same number."""
    if query.kv is None:
        return None
    told = {
        "kv": f"{query.kv}",
        "by": query.kv_by,
        "cls": query.kv_class or "",
        "max_use": "",
        "max_use_kv": "",
    }
    use = pack.max_use_v(query.kinds[0], query.kv_class) if pack and query.kv_class else None
    if use is not None:
        told |= {"max_use": described.volts(use), "max_use_kv": f"{kv_from_volts(int(use.value or 0))}"}
    return told


def _understood(query: Query) -> list[str]:
    """The conditions in words, so that nobody reads a list that answers another question."""
    kinds = () if query.kv_class and query.kinds == RUBBER_KINDS else query.kinds
    words = [
        _(" or ").join(described.kind_word(kind).lower() for kind in kinds),
        described.class_word(query.kv_class if query.cls is None else query.cls).lower(),
        _("size %s") % query.size if query.size else "",
        _("%(low)s to %(high)s mm long") % _range(query.length_mm) if query.length_mm else "",
        _("cable %s") % query.cable_size if query.cable_size else "",
        _("cable %(low)s to %(high)s mm long") % _range(query.cable_mm) if query.cable_mm else "",
        described.hand_word(query.hand),
        _("type %s") % query.type if query.type else "",
        _("crew %s") % query.crew if query.crew else "",
        _("truck %s") % query.truck if query.truck else "",
        "" if query.truck else _(" or ").join(str(HOLDER_NAMES[one]).lower() for one in query.holder_kinds),
        *(str(CONDITION_NAMES[one]).lower() for one in sorted(query.conditions)),
        *(str(STANDINGS[one]) for one in sorted(query.standings)),
        *(f"“{word}”" for word in query.words),
    ]
    return [word for word in words if word]


def _range(span: tuple[int, int]) -> dict[str, int]:
    return {"low": span[0], "high": span[1]}
