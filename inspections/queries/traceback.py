"""Who had a piece since its last good test, what was with it, and where all of that is now."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from django.db.models import Q, TextField
from django.db.models.functions import Cast
from django.utils import timezone

from gear.ledger import line_of
from gear.models import Entry, Item, Membership
from gear.queries import Question
from gear.queries.whereabouts import pieces
from gear.rules.entries import Line
from gear.rules.recall import plain
from gear.rules.whereabouts import Found
from inspections.models import ElectricalTest, JobCheck, LoadCheck, Shipment, ShipmentLine
from inspections.queries.electrical import tests_in_force
from inspections.rules import traceback
from inspections.rules.traceback import JOB, PRE_USE, WALK, Stay, Use, Window

MATE, SESSION, LOT, SHIPMENT, ITSELF = "mate", "session", "lot", "shipment", "itself"
EARLIEST = datetime(1900, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Tie:
    """Why a piece is in the trace: `kind` is one of the words above, `values` fill its sentence."""

    kind: str
    name: str = ""
    since: Any = None
    through: Any = None


@dataclass
class TraceBack:
    """What was found. `related` are the piece itself and all that is tied to it, each `about` its ties.

    `stays` are its holders in the window. `unreadable` pieces cannot be held and are `unknown` anyway.
    """

    item: Item
    window: Window
    stays: tuple[Stay, ...]
    related: tuple[Found, ...]
    apart: tuple[Found, ...]
    sessions: tuple[str, ...] = ()
    shipments: tuple[str, ...] = ()
    usable: int = field(init=False)

    def __post_init__(self) -> None:
        self.usable = sum(one.usable for one in self.related)


def trace_back(item: Item, asked: Question) -> TraceBack:
    """Everything that a failure of the piece may concern, as things stand now.

    The number of queries does not grow with the pieces but by thousands. Raises ValueError, TypeError, KeyError or
    AttributeError where its own record cannot be read.
    """
    entries = list(Entry.objects.filter(item=item).select_related("by").order_by("position"))
    lines = traceback.effective(line_of(entry) for entry in entries)
    window = traceback.window(lines, as_of=asked.as_of)
    had = traceback.stays(lines, window)
    uses = [*_looks(entries, lines, window), *_walks(item, window), *_jobs(item, had, window)]
    ties: dict[int, list[Tie]] = {item.pk: [Tie(ITSELF)]}
    _add(ties, _mates(item, lines, window))
    _add(ties, sessions := _sessions(item, window))
    _add(ties, _lot(item))
    _add(ties, shipped := _shipments(item, window))
    told = {pk: tuple(found) for pk, found in ties.items()}
    found = pieces(told, asked, about=told)
    return TraceBack(
        item,
        window,
        traceback.stays(lines, window, uses),
        tuple(one for one in found if one.can_be_held),
        tuple(one for one in found if not one.can_be_held),
        tuple(sorted({tie.name for _pk, tie in sessions})),
        tuple(sorted({tie.name for _pk, tie in shipped})),
    )


Ties = list[tuple[int, Tie]]


def _add(ties: dict[int, list[Tie]], found: Ties) -> None:
    for pk, tie in found:
        ties.setdefault(pk, []).append(tie)


def _bounds(window: Window) -> tuple[datetime, datetime]:
    """Moments that hold every day of the window in any zone; days are compared afterwards."""
    first = datetime.combine(window.since, datetime.min.time(), UTC) if window.since else EARLIEST
    last = datetime.combine(window.through, datetime.min.time(), UTC)
    return max(first - timedelta(days=2), EARLIEST), last + timedelta(days=3)


def _looks(entries: Sequence[Entry], lines: Sequence[Line], window: Window) -> Iterable[Use]:
    people = {entry.id: entry.by.name if entry.by else "" for entry in entries}
    for line in lines:
        looked = line.kind == "inspected" and line.facts.get("scope") == "pre_use"
        if looked and window.touches(line.occurred_on, line.occurred_on):
            yield Use(PRE_USE, line.occurred_on, people[line.id], "", str(line.facts.get("outcome", "")))


def _walks(item: Item, window: Window) -> Iterable[Use]:
    """Walks round trucks on which somebody had the piece in hand."""
    first, last = _bounds(window)
    rows = LoadCheck.objects.filter(finished_at__range=(first, last)).annotate(
        text=Cast("pieces", TextField())
    )
    for row in rows.filter(text__contains=f'"{item.item_no}"').select_related("truck", "by").order_by("pk"):
        on = timezone.localdate(row.finished_at)
        seen = any(one.get("no") == item.item_no and one.get("state") != "not_seen" for one in row.pieces)
        if seen and window.touches(on, on):
            yield Use(WALK, on, row.by.name, str(row.pk), row.truck.name)


def _jobs(item: Item, had: Sequence[Stay], window: Window) -> Iterable[Use]:
    """Job checks of a truck that had the piece, or with somebody along who had it, unless it was left out."""
    first, last = _bounds(window)
    rows = JobCheck.objects.filter(at__range=(first, last)).select_related("truck", "by").order_by("at", "pk")
    for row in rows.iterator(chunk_size=500):
        on = timezone.localdate(row.at)
        asked = row.asked if isinstance(row.asked, dict) else {}
        along = {("person", one.get("name")) for one in asked.get("crew", [])}
        if row.truck is not None:
            along.add(("truck", row.truck.name))
        concerned = any(
            (stay.holder.get("kind"), stay.holder.get("name")) in along
            and stay.since <= on
            and (stay.through is None or on <= stay.through)
            for stay in had
        )
        if concerned and window.touches(on, on) and item.item_no not in asked.get("left_out", []):
            yield Use(JOB, on, row.by.name, str(row.pk), row.truck.name if row.truck else "")


def _mates(item: Item, lines: Sequence[Line], window: Window) -> Ties:
    ours = traceback.sets(lines, window)
    joined = Membership.objects.filter(gear_set__set_no__in=[one.set_no for one in ours])
    others = Entry.objects.filter(item__in=joined.values("item")).exclude(item=item).order_by("position")
    of_item: dict[int, list[Line]] = {}
    for entry in others:
        if entry.item_id is not None:
            of_item.setdefault(entry.item_id, []).append(line_of(entry))
    found: Ties = []
    for pk, theirs in of_item.items():
        both = traceback.together(ours, traceback.sets(traceback.effective(theirs), window))
        found += [
            (pk, Tie(MATE, one.set_no, one.since, one.through))
            for one in both
            if window.touches(one.since, one.through)
        ]
    return found


def _sessions(item: Item, window: Window) -> Ties:
    """Pieces of the bench sessions in which the piece was tested on a day of the window."""
    days = Q(tested_on__lte=window.through)
    if window.since is not None:
        days &= Q(tested_on__gte=window.since)
    sessions = tests_in_force().filter(days, item=item, session__isnull=False).values("session")
    rows = ElectricalTest.objects.filter(session__in=sessions).exclude(item=item).order_by("pk")
    named = rows.values_list("item_id", "session__number", "session__tested_on")
    return [(pk, Tie(SESSION, number, on)) for pk, number, on in dict.fromkeys(named)]


def _lot(item: Item) -> Ties:
    """Pieces of the same maker, kind and lot, capitals and blanks apart; none where the record names no lot."""
    if not item.lot.strip():
        return []
    wanted = tuple(map(plain, (item.lot, item.item_type.maker, item.item_type.kind)))
    rows = Item.objects.exclude(pk=item.pk).exclude(lot="").order_by("pk")
    columns = ("pk", "lot", "item_type__maker", "item_type__kind")
    return [
        (pk, Tie(LOT, item.lot))
        for pk, *marks in rows.values_list(*columns).iterator(chunk_size=2000)
        if tuple(map(plain, marks)) == wanted
    ]


def _shipments(item: Item, window: Window) -> Ties:
    """Pieces of the cartons in which the piece was under way or at a lab on a day of the window."""
    sent = Shipment.objects.filter(lines__item=item, lines__entry__isnull=False, sent_at__isnull=False)
    concerned = {
        one.pk: one.number
        for one in sent.order_by("pk")
        if one.sent_at is not None
        and window.touches(
            timezone.localdate(one.sent_at), timezone.localdate(one.closed_at) if one.closed_at else None
        )
    }
    rows = ShipmentLine.objects.filter(shipment__in=concerned, entry__isnull=False).exclude(item=item)
    return [
        (pk, Tie(SHIPMENT, concerned[shipment]))
        for pk, shipment in rows.order_by("pk").values_list("item_id", "shipment_id")
    ]
