"""Say who closes open lines of the weekly report, and by when. A promise changes no verdict and no date."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import ClassVar
from uuid import NAMESPACE_URL, UUID, uuid5

from django.utils.functional import Promise as Words
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import permissions
from gear.actions.acting import Act, keeping_refusals
from gear.actions.refusals import FieldRefused
from gear.ledger import append
from gear.models import Item, User
from gear.queries import Question, judged
from gear.queries.whereabouts import places
from gear.rules.readiness import GOOD
from gear.rules.whereabouts import place_of
from reports.models import Promise
from reports.rules.overdue import Scope

LONGEST = timedelta(days=366)


class PromiseRefused(FieldRefused):
    """A promise that cannot be noted as it stands."""

    SENTENCES: ClassVar[Mapping[str, tuple[str, Words]]] = {
        "NO_LINES": ("", gettext_lazy("Tick at least one line.")),
        "NOT_OPEN": (
            "",
            gettext_lazy(
                "One of these lines is not open any more. Look at the list again; nothing was noted."
            ),
        ),
        "DAY_PAST": ("promised_on", gettext_lazy("This day is past. Give today or a day to come.")),
        "DAY_FAR": ("promised_on", gettext_lazy("This day is more than a year away. Give a nearer one.")),
        "NOT_A_CLOSER": (
            "owner",
            gettext_lazy("This person cannot close a line. Name somebody who works here and is active."),
        ),
    }


def promise(
    item_nos: Sequence[str],
    *,
    owner: User,
    promised_on: date,
    note: str,
    asked: Question,
    scope: Scope,
    act: Act,
) -> list[Promise]:
    """One promise for each of these pieces, all or none. `scope` is whose gear the person may speak for.

    Raises NotAllowed or PromiseRefused, where a piece is good by now or where nobody could use it.
    """
    wanted = sorted(set(item_nos))
    with keeping_refusals("promise", ", ".join(wanted), act):
        permissions.check_can(act.by, "promise")
        if not wanted:
            raise PromiseRefused("NO_LINES")
        if promised_on < asked.as_of:
            raise PromiseRefused("DAY_PAST")
        if promised_on > asked.as_of + LONGEST:
            raise PromiseRefused("DAY_FAR")
        if not owner.is_active or owner.role not in permissions.WORKING:
            raise PromiseRefused("NOT_A_CLOSER")
        _check_open(wanted, asked, scope)
        items = {one.item_no: one for one in Item.objects.filter(item_no__in=wanted)}
        rows = [
            Promise(
                id=_id(act, number),
                by=act.by,
                item=items[number],
                owner=owner,
                promised_on=promised_on,
                note=" ".join(note.split())[:200],
            )
            for number in wanted
        ]
        for row in rows:
            append(row)
        return rows


def _id(act: Act, item_no: str) -> UUID:
    """The same for the same sending and piece."""
    return uuid5(NAMESPACE_URL, f"{act.id}:{item_no}")


def _check_open(item_nos: Sequence[str], asked: Question, scope: Scope) -> None:
    where, found = places(), set()
    for answer, facts in judged(Item.objects.filter(item_no__in=item_nos), asked):
        if not scope.covers(place_of(facts.holder, where)):
            raise permissions.NotAllowed(
                _("One of these pieces is not with your own people. Its own foreman promises for it.")
            )
        if facts.usable and answer.verdict != GOOD and not facts.owner:
            found.add(answer.item_no)
    if found != set(item_nos):
        raise PromiseRefused("NOT_OPEN")
