"""What was held as one act: by whom, why, and what of it is still on hold."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from gear.models import BatchHold, Entry, HoldBatch

PAGE = 20


@dataclass(frozen=True)
class BatchRow:
    """A batch and how many of its holds still stand."""

    batch: HoldBatch
    still: int


@dataclass(frozen=True)
class Undone:
    """One act that took holds of a batch off: when, by whom, why, how many."""

    at: datetime
    by: str
    reason: str
    count: int


def batch_page(page: int) -> tuple[list[BatchRow], int, int]:
    """(batches, the page, how many pages there are), newest first; a page that is not there gives the nearest."""
    pages = max(1, -(-HoldBatch.objects.count() // PAGE))
    page = min(max(page, 1), pages)
    rows = HoldBatch.objects.select_related("by").order_by("-at", "-number")
    shown = list(rows[(page - 1) * PAGE : page * PAGE])
    still = Counter(batch for batch, _item in _standing(shown))
    return [BatchRow(one, still[one.pk]) for one in shown], page, pages


def still_held(batch: HoldBatch) -> set[int]:
    """Primary keys of the items on which the hold of this batch still stands."""
    return {item for _batch, item in _standing([batch])}


def items_of(batch: HoldBatch) -> list[int]:
    """Primary keys of every item that the batch held."""
    return list(batch.holds.order_by("item_id").values_list("item_id", flat=True))


def undone(batch: HoldBatch) -> list[Undone]:
    """The acts that released holds of this batch as a whole, in the order of recording."""
    released = Entry.objects.filter(
        item__batchhold__batch=batch, kind="released", facts__batch=batch.number
    ).select_related("by")
    acts: dict[tuple[datetime, str, str], int] = {}
    for entry in released.order_by("recorded_at", "pk"):
        key = (entry.recorded_at, entry.by.name if entry.by else "", entry.facts.get("reason", ""))
        acts[key] = acts.get(key, 0) + 1
    return [Undone(*key, count) for key, count in acts.items()]


def _standing(batches: Sequence[HoldBatch]) -> list[tuple]:
    """(batch, item) of every hold that still stands, from the states."""
    rows = BatchHold.objects.filter(batch__in=batches, item__state__facts__has_key="holds").values_list(
        "batch_id", "item_id", "entry_id", "item__state__facts__holds"
    )
    return [
        (batch, item)
        for batch, item, entry, holds in rows
        if str(entry) in {one.get("entry") for one in holds or [] if isinstance(one, dict)}
    ]
