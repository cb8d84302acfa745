"""Rejected pieces destroyed as one act, in front of a witness who says so with their own password or PIN."""

from __future__ import annotations

from collections.abc import Sequence
from uuid import uuid5

from django.db import connection
from django.db.models import Max
from django.utils.translation import gettext as _

from gear.actions.acting import Act, Refused, check, keeping_refusals, reason_in
from gear.actions.witnesses import confirm
from gear.ledger import Draft, record_many
from gear.models import DestructionBatch, Item, User

MOST = 200
_NUMBERING = 74_302_117  # the lock under which batches are numbered


class BatchRefused(Refused):
    """A batch that cannot be destroyed; the message names the piece."""

    def __init__(self, code: str, message: str):
        Exception.__init__(self, message)
        self.code = code
        self.field = "pieces"


def destroy_batch(
    items: Sequence[Item], *, witness: User | None, secret: str, reason: str, act: Act
) -> DestructionBatch:
    """Record that all of these rejected items were destroyed, or none of them. `act.id` makes the ids of the entries.

    Raises WitnessRefused where the witness did not confirm, BatchRefused naming the first piece that may not be
    destroyed, Refused without a reason, NotAllowed or LedgerError.
    """
    ordered = sorted({item.pk: item for item in items}.values(), key=lambda item: item.item_no)
    named = ", ".join(item.item_no for item in ordered)
    with keeping_refusals("destroy", named, act):
        _check(ordered, act)
    seen_by = confirm(witness, secret, act=act)
    with keeping_refusals("destroy", named, act):
        _check(ordered, act)  # again: the witness took a moment
        why, number = reason_in(reason), _next_number()
        batch = DestructionBatch(number=number, by=act.by, witness=seen_by, reason=why)
        facts = {"reason": why, "witness": seen_by.username, "batch": str(batch)}
        many = len(ordered) > 1
        drafts = [
            Draft(
                item,
                "destroyed",
                facts,
                act.occurred_at,
                act.occurred_on,
                id=uuid5(act.id, item.item_no) if many else act.id,
            )
            for item in ordered
        ]
        entries = record_many(drafts, by=act.by, via=act.via, device=act.device)
        batch.destroyed_at = entries[0].occurred_at
        batch.pieces = [str(entry.id) for entry in entries]
        batch.save()
        return batch


def _check(items: Sequence[Item], act: Act) -> None:
    if not items:
        raise BatchRefused("NOTHING_CHOSEN", _("Choose at least one rejected piece."))
    if len(items) > MOST:
        raise BatchRefused("TOO_MANY_PIECES", _("At most %s pieces in one batch.") % MOST)
    for item in sorted(items, key=lambda one: one.pk):  # one lock order for every act
        try:
            check("destroy", item, act)
        except Refused as refused:
            raise BatchRefused(refused.code, f"{item.item_no}: {refused}") from None


def _next_number() -> int:
    """One batch after the other is numbered, so that no number is left out and none is given twice."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_NUMBERING])
    return (DestructionBatch.objects.aggregate(newest=Max("number"))["newest"] or 0) + 1
