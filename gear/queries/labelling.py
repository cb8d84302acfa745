"""Which items want labels: those named, of a set, of a batch, at a place, never printed; and what was printed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Count, Exists, OuterRef, QuerySet

from gear.models import Depot, Entry, GearSet, Item, ItemState, Label, LabelPrint, PrintedLabel, Submission
from gear.queries.identified import meant_by

RECEIVED = "receive_batch"  # the act under which a batch is submitted
RECENT = 20


@dataclass(frozen=True)
class Batch:
    """A batch that was received: its id, when, by whom, and its item numbers in order."""

    id: UUID
    at: datetime
    by: str
    item_nos: tuple[str, ...]


def batch_of(batch_id: UUID) -> Batch | None:
    """A received batch by its id; None where there is none."""
    row = Submission.objects.select_related("by").filter(pk=batch_id, act=RECEIVED).first()
    return _batch(row) if row else None


def recent_batches() -> list[Batch]:
    """The newest batches received, newest first."""
    rows = Submission.objects.select_related("by").filter(act=RECEIVED).order_by("-at", "pk")[:RECENT]
    return [_batch(row) for row in rows]


def _batch(row: Submission) -> Batch:
    return Batch(row.pk, row.at, row.by.name, tuple(str(one) for one in row.answer.get("items", ())))


def of_set(set_no: str) -> list[str] | None:
    """The item numbers of the pieces of a set now, in order; None where there is no such set."""
    gear_set = GearSet.objects.filter(set_no=set_no).first()
    if gear_set is None:
        return None
    return _numbers(Item.objects.filter(state__gear_set=gear_set))


def at_holder(holder: int) -> list[str]:
    """The item numbers of everything that a holder has, in order, by the key of the holder."""
    return _numbers(Item.objects.filter(state__holder=holder).exclude(state__condition__in=FINISHED))


FINISHED = ("rejected", "destroyed")


def never_printed(depot: Depot | None = None) -> QuerySet[Item]:
    """Items whose label in force was never printed, of one depot or of all, in order of item number."""
    printed = PrintedLabel.objects.filter(label_id=OuterRef("label"))
    states = ItemState.objects.exclude(label="").exclude(condition__in=FINISHED).filter(~Exists(printed))
    if depot is not None:
        states = states.filter(holder__depot=depot)
    return Item.objects.filter(pk__in=states.values("pk")).order_by("item_no")


def _numbers(items: QuerySet[Item]) -> list[str]:
    return list(items.order_by("item_no").values_list("item_no", flat=True))


@dataclass(frozen=True)
class Named:
    """Items by what was typed or scanned, in that order, and the texts that name none or several."""

    item_nos: tuple[str, ...]
    unknown: tuple[str, ...]


def named(texts: Iterable[str], *, base_url: str, most: int) -> Named:
    """Item numbers are found together; labels and serials one by one, at most `most` texts."""
    wanted = list(dict.fromkeys(text for one in texts if (text := one.strip())))[:most]
    exact = set(Item.objects.filter(item_no__in=wanted).values_list("item_no", flat=True))
    found: dict[str, None] = {}
    unknown = []
    for text in wanted:
        item = None if text in exact else meant_by(text, base_url=base_url).item
        if text in exact or item:
            found[item.item_no if item else text] = None
        else:
            unknown.append(text)
    return Named(tuple(found), tuple(unknown))


def printed_before(codes: Sequence[str]) -> set[str]:
    """Those of the codes that were printed before."""
    return set(PrintedLabel.objects.filter(label__in=codes).values_list("label_id", flat=True))


def items_of(codes: Sequence[str]) -> dict[str, str]:
    """code: item number, of the label codes that are in force on their items."""
    labels = Label.objects.filter(code__in=codes)
    found = labels.values_list("code", "item__item_no", "item__state__label")
    return {code: item_no for code, item_no, in_force in found if code == in_force}


def prints() -> QuerySet[LabelPrint]:
    """Every print, newest first."""
    return LabelPrint.objects.select_related("by").order_by("-at", "pk")


def replaced_labels() -> list[dict[str, Any]]:
    """Every label that took the place of another, newest first: item, code, replaced code, why, by whom and when."""
    several = Label.objects.values("item").annotate(count=Count("pk")).filter(count__gt=1)
    rows = (
        Entry.objects.filter(kind="labelled", item__in=several.values("item"))
        .select_related("item", "by")
        .order_by("-recorded_at", "pk")
    )
    return [
        {
            "item_no": row.item.item_no if row.item else "",
            "code": row.facts["code"],
            "replaces": row.facts["replaces"],
            "reason": row.facts.get("reason", ""),
            "by": row.by.name if row.by else "",
            "at": row.recorded_at,
        }
        for row in rows
        if row.facts.get("replaces")
    ]
