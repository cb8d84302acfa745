"""What I hold: the custody record of the person who is signed in, and of the trucks of their crew."""

from __future__ import annotations

from typing import Any, cast

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import queries, wording
from gear.models import Holder, User
from gear.queries import described
from gear.queries.loads import Loaded, load_of
from gear.queries.questions import Question
from gear.views.reasons import said_once

WORST_FIRST = ("stop", "unknown", "good")


def my_gear(request: HttpRequest) -> HttpResponse:
    """Each piece with its answer, its last day, the days left and what to do: worst first. Prints as a card."""
    person, asked = cast(User, request.user), queries.question()
    holder = Holder.objects.filter(person=person).first()
    trucks = Holder.objects.filter(kind="truck", crew=person.crew) if person.crew else Holder.objects.none()
    page = {
        "title": _("What I hold"),
        "person": person,
        "as_of": timezone.localtime(asked.asked_at),
        "own": _rows(load_of(holder, asked), asked) if holder else [],
        "trucks": [(one.name, _rows(load_of(one, asked), asked)) for one in trucks.order_by("name")],
    }
    return render(request, "inspections/my_gear.html", page)


def _rows(loaded: list[Loaded], asked: Question) -> list[dict[str, Any]]:
    rows = [_row(one, asked) for one in loaded]
    return sorted(rows, key=lambda row: (WORST_FIRST.index(row["verdict"]), str(row["last"]), row["item_no"]))


def _row(one: Loaded, asked: Question) -> dict[str, Any]:
    answer = one.answer
    last = min(filter(None, (answer.good_through, answer.set_good_through)), default=None)
    good = answer.verdict == "good" and last is not None
    reasons = said_once(answer.reasons)
    return {
        "item_no": one.facts.item_no,
        "what": described.heading(one.facts.identity),
        "set_no": one.facts.set_no or "",
        "verdict": answer.verdict,
        "words": wording.verdict(answer),
        "last": last or "",
        "days": _days((last - asked.as_of).days + 1) if good and last else "",
        "todo": [f"{wording.sentence(reason)} {wording.who_to_see(reason)}".strip() for reason in reasons],
    }


def _days(count: int) -> str:
    return ngettext("%(count)d day left, today counted", "%(count)d days left, today counted", count) % {
        "count": count
    }
