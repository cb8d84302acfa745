"""Pairs and grounding sets: mate, split, re-mate, join."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from uuid import uuid5

from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from gear import permissions
from gear.actions.acting import Act, Refused, depot_of, facts_now, keeping_refusals, many_facts_now
from gear.actions.batches import named
from gear.ledger import Draft, record_many
from gear.models import GearSet, Item, ItemState
from gear.rules import transitions
from gear.rules.fold import ItemFacts
from gear.rules.pairs import MATCHING, is_odd
from gear.rules.readiness import HANDED

KIND_OF_SET = {"glove": "pair", "sleeve": "pair", "grounding_jumper": "grounding"}
LARGEST = 12
TRIES = 5  # two people may be given the same next number at the same moment


def mate(left: Item, right: Item, *, set_no: str = "", act: Act) -> GearSet:
    """Make a pair of a left and a right of one kind, class, type, size and length. Raises Refused otherwise."""
    with keeping_refusals("mate", f"{left.item_no}, {right.item_no}", act), transaction.atomic():
        facts = _checked("mate", [left, right], act)
        hands = {one.identity.get("hand") for one in facts}
        if hands != {"L", "R"} or facts[0].kind not in HANDED or _differ(*facts):
            raise Refused("PAIR_NEEDS_BOTH_HANDS")
        return _form([left, right], "pair", set_no, act)


def form_grounding_set(jumpers: Sequence[Item], *, set_no: str = "", act: Act) -> GearSet:
    """Make a grounding set; it is complete with as many jumpers as it is formed of."""
    with keeping_refusals("mate", ", ".join(item.item_no for item in jumpers), act), transaction.atomic():
        if not 1 <= len(jumpers) <= LARGEST or any(
            one.kind != "grounding_jumper" for one in _checked("mate", jumpers, act)
        ):
            raise Refused("SET_KIND")
        return _form(jumpers, "grounding", set_no, act)


def split(item: Item, *, reason: str = "", act: Act) -> None:
    """Take an item out of its set. A pair is broken for both; a grounding set stays, one short."""
    with keeping_refusals("split", item.item_no, act), transaction.atomic():
        facts = _checked("split", [item], act, in_set=True)[0]
        gear_set = GearSet.objects.get(set_no=facts.set_no)
        leaving = [item]
        if gear_set.kind == "pair":
            leaving = [
                state.item
                for state in ItemState.objects.filter(gear_set=gear_set).select_related("item").order_by("pk")
            ]
            _check_none_kept(leaving)
        record_many(
            [
                Draft(
                    one,
                    "left_set",
                    {"set_no": gear_set.set_no, "reason": reason or str(_("split"))},
                    act.occurred_at,
                    act.occurred_on,
                    id=uuid5(act.id, one.item_no),
                )
                for one in leaving
            ],
            by=act.by,
            via=act.via,
            device=act.device,
        )


def _check_none_kept(leaving: Sequence[Item]) -> None:
    """Raise Refused, naming it, where a piece that would leave with its mate is kept as evidence."""
    for facts in many_facts_now(leaving).values():
        if facts.evidence:
            raise named(facts.item_no, "KEPT_AS_EVIDENCE")


def remate(left: Item, right: Item, *, act: Act) -> GearSet:
    """Make a pair of two single pieces, as one act. The broken set that one still belongs to is split first.

    Raises Refused where a piece has a mate that is not gone, or the two are no left and right of one make.
    """
    with keeping_refusals("mate", f"{left.item_no}, {right.item_no}", act), transaction.atomic():
        permissions.check_can(act.by, "split")
        joined = ItemState.objects.filter(item__in=[left, right]).values("gear_set")
        members = Item.objects.filter(Q(pk__in=[left.pk, right.pk]) | Q(state__gear_set__in=joined))
        facts = many_facts_now(members)
        for item in (left, right):
            own = facts[item.pk]
            if own.set_no is None:
                continue
            mates = [one for pk, one in facts.items() if pk != item.pk and one.set_no == own.set_no]
            if not is_odd(own, mates):
                raise Refused("ALREADY_IN_SET")
            # An entry of its own: the same piece leaves one set and joins another.
            split(item, act=replace(act, id=uuid5(act.id, f"split {item.item_no}")))
        return mate(left, right, act=act)


def _checked(name: str, items: Sequence[Item], act: Act, *, in_set: bool = False) -> list[ItemFacts]:
    permissions.check_can(act.by, name)
    found = {item.pk: facts_now(item) for item in sorted(items, key=lambda one: one.pk)}
    for facts in found.values():
        permissions.check_scope(act.by, depot_of(facts), act=name)
        if code := transitions.refusal(name, facts):
            raise Refused(code)
        if in_set != bool(facts.set_no):
            raise Refused("NOT_IN_SET" if in_set else "ALREADY_IN_SET")
    return [found[item.pk] for item in items]


def _differ(one: ItemFacts, other: ItemFacts) -> bool:
    return any(one.identity.get(name) != other.identity.get(name) for name in MATCHING)


def _form(items: Sequence[Item], kind: str, set_no: str, act: Act) -> GearSet:
    gear_set = _new_set(kind, set_no.strip(), len(items))
    number = gear_set.set_no
    drafts = [
        Draft(
            gear_set,
            "set_formed",
            {"set_no": number, "kind": kind, "required": len(items)},
            act.occurred_at,
            act.occurred_on,
            id=uuid5(act.id, number),
        )
    ]
    drafts += [
        Draft(
            item,
            "joined_set",
            {"set_no": number},
            act.occurred_at,
            act.occurred_on,
            id=uuid5(act.id, item.item_no),
        )
        for item in items
    ]
    record_many(drafts, by=act.by, via=act.via, device=act.device)
    return gear_set


def _new_set(kind: str, stated: str, required: int) -> GearSet:
    """A set under the stated number, or the next free one. Raises Refused where the stated one was used before."""
    for _once in range(TRIES):
        try:
            with transaction.atomic():
                return GearSet.objects.create(
                    set_no=stated or next_number(kind), kind=kind, required=required
                )
        except IntegrityError as error:
            if stated:
                raise Refused("SET_NUMBER_TAKEN") from error
    raise Refused("SET_NUMBER_TAKEN")


def next_number(kind: str) -> str:
    """A set number that was never used: P-00001 for pairs, S-00001 for others."""
    prefix = {"pair": "P", "grounding": "S"}.get(kind, "K")
    count = GearSet.objects.filter(kind=kind).count() + 1
    while GearSet.objects.filter(set_no=f"{prefix}-{count:05d}").exists():
        count += 1
    return f"{prefix}-{count:05d}"
