"""Everything that one holder has, or chosen pieces of it, to another as one act: all of what was shown, or nothing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from uuid import uuid5

from django.db import transaction

from gear import permissions, queries
from gear.actions.acting import Act, Refused, depot_of, keeping_refusals, many_facts_now
from gear.ledger import Draft, record_many
from gear.models import Entry, Holder, Item
from gear.queries.loads import load_of
from gear.rules import loads, transitions
from gear.rules.loads import Load


@dataclass(frozen=True)
class Removal:
    """What is asked for. `only` are item numbers, empty for everything; `shown` the mark of the list that was shown.

    What is not good goes `aside`, to a shelf, a bench or a lab, or stays where it is without one.
    """

    source: Holder
    to: Holder
    shown: str
    aside: Holder | None = None
    only: tuple[str, ...] = ()
    note: str = ""


def load_to(source: Holder, to: Holder, *, only: Sequence[str] = ()) -> Load:
    """What would happen to each piece of the source, as of now."""
    loaded = load_of(source, queries.question(), only=only)
    return loads.sorted_out(((one.answer, one.facts) for one in loaded), to_usable=to.usable)


def move_everything(wanted: Removal, *, act: Act) -> list[Entry]:
    """Move what the list shows, all or none. Raises Refused, above all where the list is not the one that was shown."""
    with keeping_refusals("move", f"{wanted.source.name}: everything", act), transaction.atomic():
        permissions.check_can(act.by, "move")
        _check_places(wanted)
        items = {one.item_no: one for one in Item.objects.filter(state__holder=wanted.source)}
        facts = {one.item_no: one for one in many_facts_now(items.values()).values()}
        load = load_to(wanted.source, wanted.to, only=wanted.only)
        if load.shown != wanted.shown:
            raise Refused("LIST_CHANGED")
        chosen = _chosen(load, wanted)
        if not chosen:
            raise Refused("NOTHING_TO_MOVE")
        _check_each(chosen, facts, act)
        drafts = [_draft(items[number], to, wanted, act) for number, to in chosen]
        return record_many(drafts, by=act.by, via=act.via, device=act.device)


def _check_places(wanted: Removal) -> None:
    if wanted.source.pk == wanted.to.pk:
        raise Refused("SAME_PLACE")
    if wanted.aside is not None and wanted.aside.usable:
        raise Refused("ASIDE_IS_IN_HANDS")


def _chosen(load: Load, wanted: Removal) -> list[tuple[str, Holder]]:
    """(item number, where to) of everything that moves."""
    chosen = [(facts.item_no, wanted.to) for _answer, facts in load.goes]
    if wanted.aside is not None and wanted.aside.pk != wanted.source.pk:
        chosen += [(facts.item_no, wanted.aside) for _answer, facts in load.blocked]
    return chosen


def _check_each(chosen: Iterable[tuple[str, Holder]], facts: dict, act: Act) -> None:
    """Once more from the entries, their chains checked: a list shows states, an act must be certain."""
    into_hands = [number for number, to in chosen if to.usable]
    answers = queries.answers(into_hands, queries.question()) if into_hands else []
    verdicts = {answer.item_no: answer.verdict for answer in answers}
    for number, to in chosen:
        permissions.check_scope(act.by, depot_of(facts[number]), act="move")
        code = transitions.refusal(
            "move", facts[number], to_holder_kind=to.kind, verdict=verdicts.get(number)
        )
        if code:
            raise Refused(code)


def _draft(item: Item, to: Holder, wanted: Removal, act: Act) -> Draft:
    facts = {"holder": to.as_fact(), "batch": str(act.id), **({"note": wanted.note} if wanted.note else {})}
    kind = "moved" if to.usable else "returned"
    return Draft(item, kind, facts, act.occurred_at, act.occurred_on, id=uuid5(act.id, item.item_no))
