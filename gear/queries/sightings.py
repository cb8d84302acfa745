"""Scrapped pieces that turned up: answers about what was destroyed, or is rejected and still in somebody's hands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import OuterRef, Q, QuerySet, Subquery

from gear.models import Entry, GivenAnswer, Item, SightingNote

SCRAPPED = frozenset({"DESTROYED"})
REJECTED = frozenset({"REJECTED", "FAILED_TEST", "DAMAGED"})
MOST = 500


@dataclass(frozen=True)
class Sighting:
    """Every open answer about one scrapped piece, the newest first; `note` once somebody looked into it."""

    item: Item
    destroyed: bool
    answers: Sequence[GivenAnswer]
    note: SightingNote | None = None

    @property
    def newest(self) -> GivenAnswer:
        return self.answers[0]


def open_sightings(item: Item | None = None) -> list[Sighting]:
    """Pieces with answers that nobody looked into yet, destroyed ones first, then the newest. One query."""
    found = _told(item=item) if item else _told()[:MOST]
    grouped: dict[int, list[GivenAnswer]] = {}
    for answer in found:
        if _is_one(answer):
            grouped.setdefault(answer.item_id, []).append(answer)
    sightings = [
        Sighting(answers[0].item, any(SCRAPPED & set(one.reasons) for one in answers), answers)
        for answers in grouped.values()
    ]
    return sorted(sightings, key=lambda one: (not one.destroyed, -one.newest.at.timestamp()))


def noted_sightings(since: datetime) -> list[Sighting]:
    """What was looked into since a moment, newest first, with the note that tells what came of it."""
    notes = (
        SightingNote.objects.filter(entry__recorded_at__gte=since)
        .select_related(
            "answer__item__state__holder__crew",
            "answer__item__state__holder__depot",
            "answer__by__crew",
            "entry__by",
        )
        .order_by("-entry__recorded_at", "-answer__at")[:MOST]
    )
    grouped: dict[object, list[SightingNote]] = {}
    for note in notes:
        grouped.setdefault(note.entry_id, []).append(note)
    return [
        Sighting(
            same[0].answer.item,
            any(SCRAPPED & set(note.answer.reasons) for note in same),
            [note.answer for note in same],
            same[0],
        )
        for same in grouped.values()
    ]


def pieces_seen(now: datetime, *, days: int = 7) -> int:
    """How many scrapped pieces were scanned in the last days and wait for somebody to look into it."""
    since = now - timedelta(days=days)
    return len({answer.item_id for answer in _told(at__gte=since) if _is_one(answer)})


def _told(**conditions: Any) -> QuerySet[GivenAnswer]:
    """Answers that may be about a scrapped piece: its state now finds them, what was told then decides."""
    destroyed = Entry.objects.filter(item=OuterRef("item"), kind="destroyed").order_by("occurred_at")
    return (
        GivenAnswer.objects.filter(
            Q(item__state__condition="destroyed")
            | Q(item__state__condition="rejected", item__state__usable_now=True),
            sightingnote__isnull=True,
            **conditions,
        )
        .annotate(destroyed_at=Subquery(destroyed.values("occurred_at")[:1]))
        .select_related("item__state__holder__crew", "item__state__holder__depot", "by__crew")
        .order_by("-at", "pk")
    )


def _is_one(answer: GivenAnswer) -> bool:
    told = set(answer.reasons)
    destroyed = answer.item.state.condition == "destroyed"
    if destroyed:
        # A phone that did not know yet: what was told is not what counts, but that the piece was there.
        late = answer.shown_at is not None and answer.destroyed_at is not None
        return bool(told & SCRAPPED) or late and answer.shown_at > answer.destroyed_at
    return bool(told & REJECTED)
