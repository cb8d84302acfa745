"""Hold many pieces as one act, and take exactly these holds off again as one act: all of them or none."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid5

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from gear import permissions
from gear.actions.acting import Act, LedgerError, Refused, depot_of, keeping_refusals, reason_in
from gear.ledger import Draft, append, record_many
from gear.ledger.states import batches
from gear.models import BatchHold, HoldBatch, Item, ItemState
from gear.rules import fold, transitions
from gear.rules.entries import UNREADABLE
from gear.rules.fold import ItemFacts

TRIES = 5  # two people may be given the same next number at the same moment
LONGEST_SUBJECT = 200


@dataclass(frozen=True)
class Cause:
    """Why many pieces are held: "recall", "trace" or "piece", what it is about in one line, and what was asked for."""

    about: str
    subject: str
    asked: Mapping[str, Any] = field(default_factory=dict)


def hold_all(items: Sequence[Item], *, cause: Cause, reason: str, act: Act) -> HoldBatch:
    """Hold every one of the items, all or none; the reason on each is the subject and then `reason`.

    The number of queries grows only by batches of items. Raises NotAllowed, or Refused naming the first item that
    cannot be held.
    """
    with keeping_refusals("hold_batch", cause.subject, act):
        permissions.check_can(act.by, "hold_batch")
        words = reason_in(f"{cause.subject}: {reason_in(reason)}")
        if not items:
            raise Refused("NOTHING_TO_HOLD")
        for item, facts in locked(items):
            if code := transitions.refusal("hold_batch", facts):
                raise named(item.item_no, code)
        batch = _new_batch(cause, words, len(items), act)
        drafts = [
            Draft(
                item,
                "held",
                {"reason": words, "batch": batch.number},
                act.occurred_at,
                act.occurred_on,
                id=uuid5(act.id, item.item_no),
            )
            for item in items
        ]
        made = record_many(drafts, by=act.by, via=act.via, device=act.device)
        BatchHold.objects.bulk_create(
            [BatchHold(entry=entry, batch=batch, item_id=entry.item_id) for entry in made], batch_size=500
        )
        return batch


@dataclass(frozen=True)
class Released:
    """How many holds were taken off, and the pieces of the batch that were destroyed meanwhile and stay as they are."""

    count: int
    destroyed: tuple[str, ...] = ()


def release_all(batch: HoldBatch, *, reason: str, act: Act) -> Released:
    """Release every hold of the batch that still stands, all or none; holds placed for other reasons stay.

    Raises NotAllowed (also where one piece belongs to another depot), or Refused for the person who held them and
    where nothing is left to release.
    """
    with keeping_refusals("release_batch", batch.number, act):
        permissions.check_can(act.by, "release_batch")
        if act.by is not None and batch.by_id == act.by.pk:
            raise Refused("OWN_BATCH")
        words = reason_in(reason)
        placed = {hold.item_id: hold for hold in BatchHold.objects.filter(batch=batch).select_related("item")}
        drafts, destroyed = [], []
        for item, facts in locked([hold.item for hold in placed.values()]):
            hold = str(placed[item.pk].entry_id)
            if hold not in {one.entry for one in facts.holds}:
                continue  # released or corrected by itself
            if facts.destroyed:
                destroyed.append(item.item_no)
                continue
            permissions.check_scope(act.by, depot_of(facts), act="release_batch")
            stated = {"hold": hold, "reason": words, "batch": batch.number}
            entry_id = uuid5(act.id, item.item_no)
            drafts.append(Draft(item, "released", stated, act.occurred_at, act.occurred_on, id=entry_id))
        if not drafts:
            raise Refused("NOTHING_HELD")
        record_many(drafts, by=act.by, via=act.via, device=act.device)
        return Released(len(drafts), tuple(sorted(destroyed)))


def locked(items: Sequence[Item]) -> list[tuple[Item, ItemFacts]]:
    """The items with their facts, in one lock order for every act; locked until the act is done.

    Raises LedgerError naming the first whose record cannot be read.
    """
    by_pk = {item.pk: item for item in items}
    found: dict[int, ItemFacts] = {}
    for batch in batches(sorted(by_pk)):
        states = ItemState.objects.select_for_update().filter(pk__in=batch).order_by("pk")
        for pk, stored in states.values_list("pk", "facts"):
            try:
                found[pk] = fold.from_json(stored)
            except UNREADABLE:
                continue
    for pk in sorted(by_pk.keys() - found.keys()):
        raise LedgerError(
            _("The record of %s cannot be read. Have the administrator run verify_ledger.")
            % by_pk[pk].item_no
        )
    return [(by_pk[pk], found[pk]) for pk in sorted(by_pk)]


def named(item_no: str, code: str) -> Refused:
    """The refusal of an act on many, naming the piece that it is about."""
    error = Refused(code)
    error.args = (f"{item_no}: {error}",)
    return error


def _new_batch(cause: Cause, words: str, pieces: int, act: Act) -> HoldBatch:
    for _once in range(TRIES):
        batch = HoldBatch(
            id=act.id,
            number=next_number(),
            by=act.by,
            about=cause.about,
            subject=cause.subject[:LONGEST_SUBJECT],
            reason=words,
            asked=dict(cause.asked),
            pieces=pieces,
        )
        try:
            with transaction.atomic():
                append(batch)
        except IntegrityError:
            continue
        return batch
    raise Refused("LIST_CHANGED")


def next_number() -> str:
    """A number that no batch of holds was given yet: H-0001."""
    count = HoldBatch.objects.count() + 1
    while HoldBatch.objects.filter(number=f"H-{count:04d}").exists():
        count += 1
    return f"H-{count:04d}"
