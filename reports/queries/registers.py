"""Registers for whoever proves the past: corrections, late entries, changes of rules, refused attempts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Count, DurationField, ExpressionWrapper, F, Q, QuerySet
from django.utils import timezone

from gear.models import Entry, Refusal
from gear.queries.questions import site_zone
from gear.rules import moments
from gear.rules.correcting import replaced
from gear.rules.entries import UNREADABLE, Line
from reports.rules.keys import key_in, key_text

PAGE = 50
IN_HAND = ("web", "api", "field")  # an imported file is history and never on time
LATE = (timedelta(days=1), timedelta(days=7), timedelta(days=30))


@dataclass(frozen=True)
class Period:
    """The days of recording that are asked about, both counted; None is open."""

    first: date | None = None
    last: date | None = None

    def within(self, column: str) -> Q:
        zone = site_zone()
        found = Q()
        if self.first:
            found &= Q(**{f"{column}__gte": moments.start_of_day(self.first, zone)})
        if self.last:
            found &= Q(**{f"{column}__lte": moments.end_of_day(self.last, zone)})
        return found


@dataclass(frozen=True)
class Correction:
    """One correction: the entry as it was, and what it was corrected to (None: withdrawn)."""

    entry: Entry
    original: Entry
    now: Line | None
    readable: bool

    @property
    def second_person(self) -> bool:
        return self.original.by_id is not None and self.original.by_id != self.entry.by_id

    @property
    def delay(self) -> timedelta:
        return self.entry.recorded_at - self.original.recorded_at


def corrections(period: Period, after: str = "") -> tuple[list[Correction], str]:
    """(corrections by when they were recorded, newest first, after the key of a row; the key of the next page)."""
    rows = _corrected(period)
    found, more = _page(rows, "recorded_at", after)
    return [_correction(one) for one in found], more


def all_corrections(period: Period) -> Iterator[Correction]:
    """Every correction of the period, oldest first, without holding them all."""
    for one in _corrected(period).order_by("recorded_at", "pk").iterator(chunk_size=500):
        yield _correction(one)


def _corrected(period: Period) -> QuerySet[Entry]:
    rows = Entry.objects.filter(period.within("recorded_at"), kind="corrected")
    return rows.select_related("by", "item", "gear_set", "corrects__by")


def _correction(entry: Entry) -> Correction:
    original = entry.corrects
    assert original is not None  # a constraint
    line = Line(
        original.id, original.kind, original.occurred_at, original.occurred_on, original.recorded_at,
        str(original.by_id or ""), original.facts, None, original.precision,
    )  # fmt: skip
    try:
        stated = entry.facts["replacement"]
        return Correction(entry, original, None if stated is None else replaced(line, stated), True)
    except UNREADABLE:
        return Correction(entry, original, None, False)


def _page(rows: QuerySet, column: str, after: str) -> tuple[list, str]:
    """A page of rows, newest first, after the key of a row, and the key of its last row where more follow."""
    if (key := key_in(after)) is not None:
        at, pk = key
        rows = rows.filter(Q(**{f"{column}__lt": at}) | Q(**{column: at, "pk__lt": pk}))
    found = list(rows.order_by(f"-{column}", "-pk")[: PAGE + 1])
    more = len(found) > PAGE
    shown = found[:PAGE]
    return shown, key_text(getattr(shown[-1], column), shown[-1].pk) if more else ""


def delays(period: Period) -> list[tuple[timedelta | None, int]]:
    """(at least so late, how many entries that people made) for LATE, and None for those within a day. One query."""
    late = ExpressionWrapper(F("recorded_at") - F("occurred_at"), output_field=DurationField())
    rows = Entry.objects.filter(period.within("recorded_at"), via__in=IN_HAND).exclude(kind="corrected")
    steps = (None, *LATE)
    counts: dict[str, Any] = {}
    for at, step in enumerate(steps):
        within = Q(late__gte=step) if step is not None else Q()
        if at + 1 < len(steps):
            within &= Q(late__lt=steps[at + 1])
        counts[f"step_{at}"] = Count("pk", filter=within)
    found = rows.annotate(late=late).aggregate(**counts)
    return [(step, found[f"step_{at}"]) for at, step in enumerate(steps)]


def rule_entries(period: Period) -> list[tuple[Entry, Entry | None]]:
    """(a pack or policy that was put in force, the one of its kind recorded before it or None), newest first.

    Corrections of such entries stand among them by themselves, with what they correct beside them. One query.
    """
    site = Entry.objects.filter(item=None, gear_set=None)
    about = Q(kind__in=("pack_adopted", "policy_set")) | Q(
        kind="corrected", corrects__kind__in=("pack_adopted", "policy_set")
    )
    before: dict[str, Entry] = {}
    found: list[tuple[Entry, Entry | None]] = []
    for entry in site.filter(about).select_related("by", "corrects").order_by("position"):
        if entry.kind == "corrected":
            found.append((entry, entry.corrects))
            continue
        found.append((entry, before.get(entry.kind)))
        before[entry.kind] = entry
    return [one for one in reversed(found) if _in(period, one[0].recorded_at)]


def _in(period: Period, at: datetime) -> bool:
    day = timezone.localdate(at)
    return (period.first is None or period.first <= day) and (period.last is None or day <= period.last)


def refusals(period: Period, after: str = "") -> tuple[list[Refusal], str]:
    """(attempts that were refused, newest first, after the key of a row; the key of the next page)."""
    return _page(_refused(period), "at", after)


def all_refusals(period: Period) -> Iterator[Refusal]:
    """Every refusal of the period, oldest first, without holding them all."""
    return _refused(period).order_by("at", "pk").iterator(chunk_size=500)


def _refused(period: Period) -> QuerySet[Refusal]:
    return Refusal.objects.filter(period.within("at")).select_related("by")
