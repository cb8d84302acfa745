"""Visitors leave: each piece went home with its owner or is named as missing, and until then the visit is open."""

from __future__ import annotations

from collections.abc import Iterable

from django.utils import timezone

from gear import permissions
from gear.actions.acting import Act, Refused, facts_now, keeping_refusals, reason_in
from gear.actions.committing import committed
from gear.ledger import Draft, record_many
from gear.queries import question
from gear.rules import transitions
from inspections import queries
from inspections.actions.visits import VisitRefused, still_open
from inspections.models import Visit
from inspections.queries.visits import Brought


def hand_back(number: str, item_nos: Iterable[str], *, act: Act) -> Visit:
    """Record that these pieces went home with their owner. Nobody here can say anything of them from then on."""
    return _settled(number, item_nos, "handed_back", {}, act)


def missing(number: str, item_nos: Iterable[str], *, reason: str, act: Act) -> Visit:
    """Name these pieces as missing: each is reported lost, and stays on the list of what may turn up in hands here."""
    permissions.check_can(act.by, "report_lost")
    return _settled(number, item_nos, "lost", {"reason": reason_in(reason)}, act)


def _settled(number: str, item_nos: Iterable[str], kind: str, facts: dict[str, str], act: Act) -> Visit:
    def work() -> Visit:
        visit = still_open(number, act)
        pieces = {one.item.item_no: one for one in queries.brought(visit, question()) if one.open}
        wanted = list(item_nos)
        if not wanted or (other := next((one for one in wanted if one not in pieces), "")):
            raise VisitRefused("NOT_HERE", item=other if wanted else "-")
        for one in wanted if kind == "handed_back" else ():
            if code := transitions.refusal("hand_back", facts_now(pieces[one].item)):
                raise Refused(code)
        stated = {**facts, **({"batch": visit.number} if kind == "handed_back" else {})}
        moment = act.occurred_at or timezone.now()
        drafts = [Draft(pieces[one].item, kind, stated, occurred_at=moment) for one in wanted]
        record_many(drafts, by=act.by, via=act.via, device=act.device)
        _close_where_done(visit, [one for name, one in pieces.items() if name not in wanted], act)
        return visit

    with keeping_refusals("take_in_others", number, act):
        return committed(work)


def _close_where_done(visit: Visit, left: list[Brought], act: Act) -> None:
    """A visit is over with its last piece; what was keyed and never checked in came to nothing."""
    if left:
        return
    visit.closed_at, visit.closed_by = timezone.now(), act.by
    visit.save(update_fields=["closed_at", "closed_by"])
