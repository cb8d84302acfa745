"""What is stopped in somebody's hands: who was told, and who says that it is out of use."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views import View

from gear import permissions, queries
from gear.actions.acting import REFUSALS, Act
from gear.models import Item, User
from gear.queries import Question
from gear.views.moments import moment
from reports.actions.notices import LONGEST_NOTE, confirm_out_of_use
from reports.models import Notice, StopConfirmation
from reports.permissions import scope_of
from reports.queries import notices as reads
from reports.queries import overdue_report
from reports.rules.notices import CONFIRMED_FOR, hands_key, now_key, stops
from reports.rules.overdue import Line
from reports.wording import row

NAMED = 6  # people who were told; further ones are counted


class Stops(View):
    """The list, worst first; each piece with a form of its own."""

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._page(request)

    def post(self, request: HttpRequest) -> HttpResponse:
        item = get_object_or_404(Item, item_no=_sent(request, "item", 40))
        key, note = _sent(request, "key", 200), _sent(request, "note", LONGEST_NOTE + 1)
        try:
            confirm_out_of_use(item, key=key, note=note, act=Act(cast(User, request.user)))
        except REFUSALS as error:
            status = 403 if isinstance(error, permissions.NotAllowed) else 422
            return self._page(request, problem=str(error), at=item.item_no, status=status)
        messages.success(request, _("%s: what you said is kept.") % item.item_no)
        return redirect("stops_in_hands")

    def _page(
        self, request: HttpRequest, *, problem: str = "", at: str = "", status: int = 200
    ) -> HttpResponse:
        by, now, asked = cast(User, request.user), timezone.now(), queries.question()
        lines = _lines(by, asked)
        confirmed, told = reads.confirmations(now), _told(reads.recent(now))
        rows = [_row(line, told.get(now_key(line), []), confirmed.get(hands_key(line))) for line in lines]
        page = {
            "title": _("Stopped in hands"),
            "rows": rows,
            "problem": problem,
            "at": at,
            "days": CONFIRMED_FOR.days,
            "longest": LONGEST_NOTE,
            "may_confirm": permissions.can(by, "confirm_stop"),
        }
        return render(request, "reports/stops_in_hands.html", page, status=status)


def _sent(request: HttpRequest, name: str, most: int) -> str:
    """What was sent, cut, and without a sign that no database keeps."""
    return request.POST.get(name, "").replace("\x00", "")[:most]


def _lines(by: User, asked: Question) -> list[Line]:
    return stops(overdue_report(asked, scope=scope_of(by)).usable_now, ())


def _told(notices: Iterable[Notice]) -> dict[str, list[Notice]]:
    """The notices that told of each stop and were taken by the mail server, oldest first."""
    found: dict[str, list[Notice]] = {}
    for notice in notices:
        if notice.urgent and reads.is_taken(notice):
            for key in notice.told:
                found.setdefault(key, []).append(notice)
    return found


def _row(line: Line, told: list[Notice], confirmed: StopConfirmation | None) -> dict[str, Any]:
    people = list(dict.fromkeys(one.person.name for one in told))
    return {
        "row": row(line),
        "key": hands_key(line),
        "told": ", ".join(people[:NAMED]),
        "further": max(0, len(people) - NAMED),
        "first": moment(told[0].at) if told else "",
        "times": len(told),
        "confirmed": confirmed,
        "confirmed_at": moment(confirmed.at) if confirmed else "",
    }
