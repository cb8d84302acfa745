"""What the year in figures reads: every entry of every piece once, shipments, audits, and what records lack."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

from django.apps import apps
from django.conf import settings
from django.db.models import Min, Q

from gear.models import Entry
from gear.queries import Question
from gear.queries.lines import lines_by_item, rules_over_time
from gear.rules.moments import end_of_day, local_day, start_of_day
from inspections.models import ShipmentOutcome
from inspections.rules.shipping import MISSING, WITHDRAWN
from reports.models import AuditResult, AuditSample
from reports.queries.particulars import Lacks, lacks
from reports.rules.yearbook import Span, Yearbook


@dataclass(frozen=True)
class Turnaround:
    """How many days each line of one lab took from leaving to settling, and how many pieces went missing there."""

    lab: str
    days: tuple[int, ...]
    missing: int


@dataclass(frozen=True)
class Audits:
    """Samples drawn for results in the year, and what was found of pieces, by its word, the newest finding of each."""

    samples: int
    found: Counter[str]


@dataclass(frozen=True)
class Year:
    """Everything on the page. `exceptions` is how many were in force on a day of the year, None where none are kept."""

    span: Span
    book: Yearbook
    labs: tuple[Turnaround, ...]
    audits: Audits
    exceptions: int | None
    lacks: Lacks


def zone() -> ZoneInfo:
    return ZoneInfo(settings.TIME_ZONE)


def span_of(year: int, today: date) -> Span:
    """The days of a year, the running one through today."""
    changes, _rules = rules_over_time()
    last = min(today, date(year, 12, 31))
    return Span(date(year, 1, 1), last, partial(end_of_day, zone=zone()), tuple(changes))


def years(today: date) -> list[int]:
    """The years of which something is on record, this one first; one query."""
    first = Entry.objects.filter(item__isnull=False).aggregate(first=Min("occurred_on"))["first"]
    return list(range(today.year, (first.year if first else today.year) - 1, -1))


def year_in_figures(asked: Question, year: int) -> Year:
    """The figures of one year, as known now. A constant number of queries; entries are read in pieces."""
    span = span_of(year, asked.as_of)
    book = counted(span)
    return Year(span, book, tuple(turnarounds(span)), audits(span), exceptions(span), lacks())


def counted(span: Span) -> Yearbook:
    """What the entries of all pieces say of a year."""
    _changes, rules_on = rules_over_time()
    book = Yearbook()
    for item_no, lines in lines_by_item():
        book.take(item_no, lines, span, rules_on)
    return book


def turnarounds(span: Span) -> list[Turnaround]:
    """By lab, in order of name: from the day a carton left to the day its line was settled, in the year; one query."""
    of_year = _moments(span, "at")
    newest = ShipmentOutcome.objects.filter(of_year, corrected_by__isnull=True, line__isnull=False)
    rows = newest.exclude(outcome=WITHDRAWN).order_by("shipment__lab__name", "pk")
    days: dict[str, list[int]] = {}
    missing: Counter[str] = Counter()
    values = rows.values_list("shipment__lab__name", "shipment__sent_at", "at", "outcome")
    for lab, sent, settled, outcome in values:
        found = days.setdefault(lab, [])
        if outcome == MISSING:
            missing[lab] += 1
        elif sent is not None:
            found.append((local_day(settled, zone()) - local_day(sent, zone())).days)
    return [Turnaround(lab, tuple(sorted(found)), missing[lab]) for lab, found in days.items()]


def audits(span: Span) -> Audits:
    """What rounds with audit samples found in the year; two queries."""
    newest: dict[tuple, str] = {}
    rows = AuditResult.objects.filter(looked_on__range=(span.first, span.last)).order_by("at", "pk")
    for sample, item, found in rows.values_list("sample_id", "item_id", "found"):
        newest[sample, item] = found
    return Audits(AuditSample.objects.filter(_moments(span, "at")).count(), Counter(newest.values()))


def exceptions(span: Span) -> int | None:
    """How many exceptions were in force on some day of the year; None where this program keeps none."""
    try:
        noted: Any = apps.get_model("reports", "ExceptionNote")
    except LookupError:
        return None
    of_year = noted.objects.filter(begins_on__lte=span.last, ends_on__gte=span.first)
    return of_year.exclude(end__at__lt=start_of_day(span.first, zone())).count()


def _moments(span: Span, name: str) -> Q:
    first, last = start_of_day(span.first, zone()), span.end_of(span.last)
    return Q(**{f"{name}__gte": first, f"{name}__lte": last})


def middle(values: Sequence[int]) -> float | None:
    """The median of sorted values; None of none."""
    if not values:
        return None
    half = len(values) // 2
    return float(values[half]) if len(values) % 2 else (values[half - 1] + values[half]) / 2
