"""The register of what was reported lost, and of what was found again, worked out from the entries."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from django.db.models import Q

from gear.ledger import line_of
from gear.models import Entry, Item, User
from gear.queries.questions import Question
from gear.queries.whereabouts import places
from gear.rules import fold, moments
from gear.rules.correcting import corrected
from gear.rules.entries import Line, order
from gear.rules.whereabouts import Place, place_of


@dataclass(frozen=True)
class Lost:
    """One report of a loss: when, by whom, why; who had the piece then, and what became of it.

    `found` is when it was found again, `ended` whether it was destroyed since; while neither holds it is lost, stays
    with whoever had it last, and is counted as before.
    """

    item_no: str
    identity: Mapping[str, Any]
    holder: Mapping[str, Any]
    place: Place
    lost: Line
    by: str
    found: Line | None
    found_by: str
    ended: bool
    owner: str | None = None

    @property
    def still(self) -> bool:
        return self.found is None and not self.ended


def lost_register(asked: Question) -> list[Lost]:
    """Every loss on record as of a question: what is lost still first, then the newest. Four queries."""
    losses = Q(kind="lost") | Q(kind="corrected", facts__replacement__kind="lost")
    items = Item.objects.filter(pk__in=Entry.objects.filter(losses, item__isnull=False).values("item"))
    entries = Entry.objects.filter(item__in=items).select_related("item").order_by("item_id", "position")
    names = {str(one.pk): one.name for one in User.objects.all()}
    where = places() if asked.current else {}
    known_at = asked.known_at or moments.FOR_EVER
    until = moments.FOR_EVER if asked.current else asked.as_of_at
    found: list[Lost] = []
    for item_no, chain in groupby(entries.iterator(chunk_size=2000), key=_number):
        lines = [line_of(entry) for entry in chain if entry.recorded_at <= known_at]
        found += _losses(item_no, lines, until, known_at, where, names)
    return sorted(found, key=lambda one: (not one.still, -one.lost.occurred_at.timestamp(), one.item_no))


def _number(entry: Entry) -> str:
    return entry.item.item_no if entry.item else ""


def _losses(
    item_no: str,
    lines: Sequence[Line],
    until: datetime,
    known_at: datetime,
    where: Mapping,
    names: Mapping[str, str],
) -> Iterator[Lost]:
    effective = [line for line in sorted(corrected(lines), key=order) if line.occurred_at <= until]
    ended = any(line.kind == "destroyed" for line in effective)
    lost: Line | None = None
    told: list[tuple[Line, Line | None]] = []
    for line in effective:
        if line.kind == "lost":
            lost = lost or line
        elif line.kind == "found" and lost is not None:
            told.append((lost, line))
            lost = None
    if lost is not None:
        told.append((lost, None))
    for one, again in told:
        facts = fold.fold(item_no, lines, as_of_at=one.occurred_at, known_at=known_at)
        holder = facts.holder or {}
        by, found_by = names.get(one.by, ""), names.get(again.by, "") if again else ""
        yield Lost(
            item_no,
            facts.identity,
            holder,
            place_of(holder, where),
            one,
            by,
            again,
            found_by,
            ended,
            facts.owner,
        )


__all__ = ["Lost", "lost_register"]
