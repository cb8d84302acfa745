"""Where gear goes: issue, move, take back. Both ends are recorded; many items move as one act."""

from __future__ import annotations

from collections.abc import Sequence
from uuid import uuid5

from django.db import transaction

from gear import permissions, queries
from gear.actions.acting import Act, Refused, depot_of, facts_now, keeping_refusals
from gear.ledger import Draft, record_many
from gear.models import Entry, Holder, Item
from gear.rules import transitions
from gear.rules.fold import ItemFacts


def issue(items: Sequence[Item], *, to: Holder, act: Act) -> list[Entry]:
    """Put items that are good today in somebody's hands, all or none. Raises Refused naming the first that is not."""
    return _hand_over("issue", "issued", items, to, act)


def move(items: Sequence[Item], *, to: Holder, act: Act) -> list[Entry]:
    """Move, lend or take back items, all or none. A blocked item may always go to a shelf, a bench or a lab."""
    return _hand_over("move", "moved" if to.usable else "returned", items, to, act)


def _hand_over(name: str, kind: str, items: Sequence[Item], to: Holder, act: Act) -> list[Entry]:
    with keeping_refusals(name, ", ".join(item.item_no for item in items), act), transaction.atomic():
        permissions.check_can(act.by, name)
        ordered = sorted(items, key=lambda item: item.pk)  # one lock order for every act
        verdicts = _verdicts(ordered) if to.usable else {}
        drafts = []
        for item in ordered:
            facts = facts_now(item)
            _check_place(facts, to, act)
            if code := transitions.refusal(
                name, facts, to_holder_kind=to.kind, verdict=verdicts.get(item.item_no)
            ):
                raise _named(item, code)
            drafts.append(
                Draft(
                    item,
                    kind,
                    {"holder": to.as_fact()},
                    act.occurred_at,
                    act.occurred_on,
                    id=uuid5(act.id, item.item_no) if len(items) > 1 else act.id,
                )
            )
        return record_many(drafts, by=act.by, via=act.via, device=act.device)


def _verdicts(items: Sequence[Item]) -> dict[str, str]:
    answers = queries.answers([item.item_no for item in items], queries.question())
    return {answer.item_no: answer.verdict for answer in answers}


def _check_place(facts: ItemFacts, to: Holder, act: Act) -> None:
    permissions.check_scope(act.by, depot_of(facts), act="move")
    if facts.holder and (facts.holder["kind"], facts.holder["name"]) == (to.kind, to.name):
        raise Refused("SAME_PLACE")


def _named(item: Item, code: str) -> Refused:
    error = Refused(code)
    error.args = (f"{item.item_no}: {error}",)
    return error
