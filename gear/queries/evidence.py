"""Pieces that are kept as evidence: since when, by whom, where they are, and what ended it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from gear.models import Entry, EvidenceKept, Item

PAGE = 50


@dataclass(frozen=True)
class Kept:
    """One keeping: the entry that began it, the piece with its facts as stored, the entry that ended it if any did."""

    item: Item
    began: Entry
    facts: Mapping[str, Any]
    ended: Entry | None = None

    @property
    def in_force(self) -> bool:
        """By the state of the piece, as every list has it."""
        return str(self.began.pk) in {one.get("entry") for one in self.facts.get("holds", [])}


def kept_page(page: int) -> tuple[list[Kept], int, int]:
    """(keepings, the page, how many pages there are), newest first; a page that is not there gives the nearest.

    A fixed number of queries.
    """
    pages = max(1, -(-EvidenceKept.objects.count() // PAGE))
    page = min(max(page, 1), pages)
    rows = EvidenceKept.objects.select_related("entry__by", "item__state").order_by(
        "-entry__recorded_at", "pk"
    )
    shown = list(rows[(page - 1) * PAGE : page * PAGE])
    ends = Entry.objects.filter(kind="released", item__in=[row.item_id for row in shown]).select_related("by")
    ended = {entry.facts.get("hold"): entry for entry in ends.order_by("position")}
    return (
        [Kept(row.item, row.entry, row.item.state.facts, ended.get(str(row.pk))) for row in shown],
        page,
        pages,
    )
