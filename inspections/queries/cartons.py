"""Cartons: the list with the late ones first, one carton with its lines, and what was open at a moment."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Count, Q, QuerySet
from django.utils import timezone

from gear import wording
from gear.ledger import site_zone
from gear.models import Item, ItemState
from gear.rules import fold
from gear.rules.entries import UNREADABLE
from gear.rules.moments import local_day
from inspections.models import Shipment, ShipmentLine, ShipmentOutcome
from inspections.rules.shipping import MISSING, WITHDRAWN, result_of

CLOSED_SHOWN = 25


def day_of(moment: datetime) -> date:
    """The calendar day of a moment at the site."""
    return local_day(moment, site_zone())


def days_late(shipment: Shipment, today: date) -> int:
    """Days past the day on which it was expected back; 0 while it is not late, or not with the lab."""
    return max(0, (today - shipment.expected_on).days) if shipment.state == "sent" else 0


@dataclass(frozen=True)
class Shipments:
    """With a lab, the longest awaited first; being packed; one page of the closed ones, and whether more follow."""

    away: list[Shipment]
    in_hand: list[Shipment]
    closed: list[Shipment]
    more: bool


def shipments(page: int = 1) -> Shipments:
    """Every open shipment and a page of the closed ones, the last closed first, with counts of lines. Three queries."""
    counted = Shipment.objects.select_related("lab").annotate(
        pieces=Count("lines"), still_open=Count("lines", filter=Q(lines__open=True))
    )
    first = (page - 1) * CLOSED_SHOWN
    closed = list(
        counted.filter(state="closed").order_by("-closed_at", "-pk")[first : first + CLOSED_SHOWN + 1]
    )
    return Shipments(
        list(counted.filter(state="sent").order_by("expected_on", "number")),
        list(counted.filter(state="packing").order_by("-started_at", "-pk")),
        closed[:CLOSED_SHOWN],
        len(closed) > CLOSED_SHOWN,
    )


def pieces_in(number: str) -> int:
    """How many pieces a carton holds."""
    return ShipmentLine.objects.filter(shipment__number=number).count()


@dataclass(frozen=True)
class Line:
    """A line with its piece, what the piece is, what became of it, and what the book knows of it now.

    `result` is one of waiting, accepted, rejected, or empty where it is not known or does not matter.
    """

    row: ShipmentLine
    identity: dict[str, Any]
    label: str
    settled: ShipmentOutcome | None
    result: str

    @property
    def item(self) -> Item:
        return self.row.item


@dataclass(frozen=True)
class Carton:
    """One shipment with its lines in the order of packing, what came extra, and rows that were corrected."""

    shipment: Shipment
    lines: tuple[Line, ...]
    extras: tuple[ShipmentOutcome, ...]
    corrected: tuple[ShipmentOutcome, ...]

    @property
    def open(self) -> list[Line]:
        return [line for line in self.lines if line.row.open]

    @property
    def settled(self) -> list[Line]:
        """Settled lines, the last one first."""
        found = [line for line in self.lines if not line.row.open and line.settled]
        return sorted(found, key=lambda line: line.settled.at, reverse=True)

    @property
    def totals(self) -> list[tuple[str, str, int]]:
        """(kind, class, how many) of what is in the carton."""
        counts = Counter(
            (line.identity.get("kind") or "", line.identity.get("class") or "") for line in self.lines
        )
        return [(kind, cls, count) for (kind, cls), count in sorted(counts.items())]


def carton(number: str) -> Carton | None:
    """One shipment with everything that its page and its slip show; a constant number of queries."""
    shipment = (
        Shipment.objects.select_related("lab", "sent_by", "closed_by", "started_by")
        .filter(number=number)
        .first()
    )
    if shipment is None:
        return None
    outcomes = list(
        shipment.outcomes.select_related("item", "item__item_type", "shelf", "by", "corrected_by").order_by(
            "at", "pk"
        )
    )
    newest = [one for one in outcomes if not hasattr(one, "corrected_by")]
    by_line = {one.line_id: one for one in newest if one.line_id and one.outcome != WITHDRAWN}
    rows = shipment.lines.select_related("item", "item__item_type", "item__state", "entry").order_by(
        "added_at", "pk"
    )
    return Carton(
        shipment,
        tuple(_line(row, by_line.get(row.pk)) for row in rows),
        tuple(one for one in newest if one.line_id is None and one.outcome != WITHDRAWN),
        tuple(one for one in outcomes if hasattr(one, "corrected_by")),
    )


def _line(row: ShipmentLine, settled: ShipmentOutcome | None) -> Line:
    state: ItemState | None = getattr(row.item, "state", None)
    try:
        facts = fold.from_json(state.facts if state else {})
    except UNREADABLE:
        return Line(row, {}, "", settled, "")
    result = result_of(facts, sent_on=row.entry.occurred_on) if row.entry else ""
    return Line(row, facts.identity, facts.label or "", settled, result)


@dataclass(frozen=True)
class Awaited:
    """A shipment that was with a lab at a moment: lines open then, and the pieces that were missing by then."""

    number: str
    lab: str
    sent_on: date
    expected_on: date
    days_late: int
    pieces: int
    open: int
    missing: tuple[str, ...]

    @property
    def sent(self) -> str:
        """The day in words, for reports."""
        return wording.day(self.sent_on)

    @property
    def expected(self) -> str:
        return wording.day(self.expected_on)


def awaited(*, as_of: date, at: datetime) -> list[Awaited]:
    """Every shipment that was sent and not closed at a moment, the longest awaited first. Three queries."""
    there = (
        Shipment.objects.filter(sent_at__isnull=False, sent_at__lte=at)
        .filter(Q(closed_at__isnull=True) | Q(closed_at__gt=at))
        .select_related("lab")
        .order_by("expected_on", "number")
    )
    shipments = list(there)
    lines = _lines_of(shipments)
    latest = _latest(shipments, at)
    return [_awaited(one, lines.get(one.pk, []), latest, as_of) for one in shipments]


def _lines_of(shipments: Sequence[Shipment]) -> dict[int, list[tuple[int, str]]]:
    """Of each shipment its lines as (key, item number)."""
    found: dict[int, list[tuple[int, str]]] = {}
    rows = ShipmentLine.objects.filter(shipment__in=shipments).order_by("item__item_no")
    for shipment, line, item_no in rows.values_list("shipment_id", "pk", "item__item_no"):
        found.setdefault(shipment, []).append((line, item_no))
    return found


def _latest(shipments: Sequence[Shipment], at: datetime) -> dict[int, str]:
    """The outcome of every line that counted at a moment."""
    rows: QuerySet = ShipmentOutcome.objects.filter(shipment__in=shipments, line__isnull=False, at__lte=at)
    return dict(rows.order_by("at", "pk").values_list("line_id", "outcome"))


def _awaited(one: Shipment, lines: Iterable[tuple[int, str]], latest: dict[int, str], as_of: date) -> Awaited:
    said = [(item_no, latest.get(line, WITHDRAWN)) for line, item_no in lines]
    return Awaited(
        number=one.number,
        lab=one.lab.name,
        sent_on=day_of(one.sent_at or timezone.now()),
        expected_on=one.expected_on,
        days_late=max(0, (as_of - one.expected_on).days),
        pieces=len(said),
        open=sum(outcome == WITHDRAWN for _no, outcome in said),
        missing=tuple(item_no for item_no, outcome in said if outcome == MISSING),
    )
