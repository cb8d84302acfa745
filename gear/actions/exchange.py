"""Change-out at the counter: a new pair to a person and the old one back, as one act or not at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import uuid5

from django.db import transaction

from gear import permissions, queries
from gear.actions.acting import Act, Refused, depot_of, keeping_refusals, many_facts_now
from gear.ledger import Draft, record_many
from gear.models import Entry, Holder, Item, ItemState
from gear.queries import pairs as reads
from gear.queries.questions import rules_today
from gear.rules import exchanging, transitions
from gear.rules.exchanging import Caution
from gear.rules.fold import ItemFacts
from gear.rules.pairs import Pair


@dataclass(frozen=True)
class Exchange:
    """What the clerk asks for. `new` is either piece of the new pair, `old` the pieces of the pair it replaces.

    Without a `shelf` the old pair was not handed over, and stands on the list of old pairs until it is elsewhere.
    `days_shown` are the days that the clerk was shown that the new pair gives; `confirmed` the tokens of
    the cautions that were ticked.
    """

    to: Holder
    new: Item
    old: tuple[Item, ...] = ()
    shelf: Holder | None = None
    days_shown: int | None = None
    confirmed: frozenset[str] = frozenset()


class Unconfirmed(Refused):
    """Something about the pair must be confirmed first: `cautions` says what."""

    def __init__(self, cautions: Sequence[Caution]) -> None:
        super().__init__("UNCONFIRMED")
        self.cautions = tuple(cautions)


def exchange(wanted: Exchange, *, act: Act) -> list[Entry]:
    """Issue the new pair and take the old one back, all or none. Needs the rights to issue and to move.

    The old pair may always go to a shelf, whatever is wrong with it. Raises Refused, of these Unconfirmed where a
    caution was not ticked, and NotAllowed.
    """
    with keeping_refusals("exchange", _subject(wanted), act), transaction.atomic():
        permissions.check_can(act.by, "issue")
        permissions.check_can(act.by, "move")
        new = _locked_pair(wanted)
        facts = many_facts_now([*new, *wanted.old])
        pair = reads.pair_with(wanted.new, queries.question())
        _check_to(wanted.to)
        _check_new(pair, [facts[one.pk] for one in new], act)
        old = [facts[one.pk] for one in wanted.old]
        _check_old(wanted, pair, old, act)
        said = _check_said(wanted, pair, old)
        drafts = [_issued(one, wanted, said, act) for one in new]
        if wanted.shelf is not None:
            drafts += [
                _returned(one, wanted.shelf, act)
                for one in wanted.old
                if not _is_at(facts[one.pk], wanted.shelf)
            ]
        return record_many(drafts, by=act.by, via=act.via, device=act.device)


def old_pair_of(item: Item) -> tuple[Item, ...]:
    """The pieces that come back with one that was scanned: the others of its set that are where it is."""
    state = ItemState.objects.filter(item=item).first()
    if state is None or state.gear_set_id is None:
        return (item,)
    mates = Item.objects.filter(state__gear_set=state.gear_set_id, state__holder=state.holder_id)
    return tuple(mates.order_by("item_no")) or (item,)


def _subject(wanted: Exchange) -> str:
    return ", ".join([wanted.new.item_no, *(one.item_no for one in wanted.old)])


def _locked_pair(wanted: Exchange) -> list[Item]:
    """All pieces of the new pair, their states and those of the old pair locked in one order."""
    gear_set = ItemState.objects.filter(item=wanted.new).values("gear_set")
    pieces = list(Item.objects.filter(state__gear_set__in=gear_set).order_by("pk")) or [wanted.new]
    many_facts_now([*pieces, *wanted.old])
    return pieces


def _check_to(to: Holder) -> None:
    if to.kind != "person" or not Holder.objects.filter(pk=to.pk, active=True).exists():
        raise Refused("NOT_A_PERSON")


def _check_new(pair: Pair, facts: Sequence[ItemFacts], act: Act) -> None:
    for one in facts:
        permissions.check_scope(act.by, depot_of(one), act="issue")
    if {one.item_no for one in facts} != {one.item_no for one in pair.pieces}:
        raise Refused("LIST_CHANGED")
    if code := exchanging.refusal(pair):
        raise Refused(code)
    # Once more from the entries, their chains checked: a list shows states, an act must be certain.
    verdicts = {
        answer.item_no: answer.verdict
        for answer in queries.answers([one.item_no for one in facts], queries.question())
    }
    for one in facts:
        if code := transitions.refusal("issue", one, verdict=verdicts[one.item_no]):
            raise Refused(code)


def _check_old(wanted: Exchange, pair: Pair, old: Sequence[ItemFacts], act: Act) -> None:
    if {one.item_no for one in old} & {one.item_no for one in pair.pieces}:
        raise Refused("PAIR_OF_ITSELF")
    if wanted.shelf is not None and wanted.shelf.usable:
        raise Refused("OLD_TO_SHELF")
    for one in old:
        if wanted.shelf is None and not _is_at(one, wanted.to):
            raise Refused("OLD_NOT_THEIRS")
        permissions.check_scope(act.by, depot_of(one), act="move")
        if code := transitions.refusal("move", one, to_holder_kind="shelf"):
            raise Refused(code)


def _check_said(wanted: Exchange, pair: Pair, old: Sequence[ItemFacts]) -> list[str]:
    """Nothing is handed out with fewer days than were shown, nor past a caution that nobody ticked.

    The codes of what was ticked.
    """
    cautions = cautions_of(pair, old=old, to=wanted.to)
    if missing := [one for one in cautions if one.token not in wanted.confirmed]:
        raise Unconfirmed(missing)
    if wanted.days_shown != pair.days:
        raise Refused("DAYS_CHANGED")
    return sorted({one.code for one in cautions})


def cautions_of(pair: Pair, *, old: Sequence[ItemFacts], to: Holder) -> tuple[Caution, ...]:
    """What must be confirmed before this pair goes to this person in the place of the old pieces."""
    return exchanging.cautions(
        pair,
        old=old,
        present=reads.held_by(to, queries.question()),
        person=to.name,
        floor=rules_today().policy.due_soon_days,
        leaving=to.leaving_on,
    )


def _is_at(facts: ItemFacts, holder: Holder) -> bool:
    where = facts.holder or {}
    return (where.get("kind"), where.get("name")) == (holder.kind, holder.name)


def _issued(item: Item, wanted: Exchange, said: Sequence[str], act: Act) -> Draft:
    facts: dict = {"holder": wanted.to.as_fact(), "batch": str(act.id)}
    if wanted.old:
        facts["replaces"] = sorted(one.item_no for one in wanted.old)
    if said:
        facts["note"] = f"confirmed: {', '.join(said)}"
    return _draft(item, "issued", facts, act)


def _returned(item: Item, shelf: Holder, act: Act) -> Draft:
    return _draft(item, "returned", {"holder": shelf.as_fact(), "batch": str(act.id)}, act)


def _draft(item: Item, kind: str, facts: dict, act: Act) -> Draft:
    return Draft(item, kind, facts, act.occurred_at, act.occurred_on, id=uuid5(act.id, item.item_no))
