"""The weekly report: the overdue report and all that a supervisor reads beside it, gathered once."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings

from gear.models import Item
from gear.queries import Question, described
from gear.queries.book import Book, week_before
from gear.queries.lost import Lost, lost_register
from gear.queries.replacements import spares_of
from gear.queries.whereabouts import phones
from gear.rules import moments
from gear.rules.spells import Spell
from gear.rules.whereabouts import Place
from inspections.queries.loads import Missing
from inspections.queries.missed import missed
from reports.queries.alarms import alarms
from reports.queries.exceptions import in_force
from reports.queries.overdue import lab_shipments, overdue_report, places_of
from reports.queries.promises import promises, promises_in_force
from reports.queries.replaced import old_pairs
from reports.rules import loop
from reports.rules.overdue import OverdueReport, Scope
from reports.wording.not_returned import tell_not_returned
from reports.wording.weekly import NotSeen, Weekly

SPARED = 500  # lines for which a spare is looked for, as many as the page shows
SPARES = 40  # units that are looked at for one line, so that each of many like lines may have its own


def weekly(asked: Question, *, scope: Scope) -> Weekly:
    """The weekly report as of a question, in a number of queries that grows only by batches of pieces.

    Last week's counts are what is known now of the moment seven days before. Raises DoesNotReconcile.
    """
    book, then = Book(asked), week_before(asked)
    report = overdue_report(asked, scope=scope, judged=book.now())
    openings = _openings(book, report)
    report = loop.opened(report, openings, a_week_ago=then.as_of_at)
    given = promises([line.item_no for line in report.usable_now], asked)
    report = loop.with_promises(report, promises_in_force(openings, given))
    if asked.current:
        report = loop.with_spares(report, _spares(report, asked))
    missing = _missing(asked, scope)
    pairs = old_pairs(asked, scope)
    report = loop.looped(
        report,
        loop.before(book.usable_at(then), scope=scope, places=places_of(asked) or {}),
        missing=(_keys(missing), _keys(_missing(then, scope))),
        old_pairs=({one.batch for one in pairs}, {one.batch for one in old_pairs(then, scope)}),
    )
    calls = phones()
    return Weekly(
        report=report,
        phones=calls,
        lab=lab_shipments(report.heading),
        old_pairs=tell_not_returned(pairs, phones=calls),
        missing=_not_seen(missing),
        exceptions=in_force(asked, scope),
        lost=_lost(asked, scope),
        alarms=alarms(asked, scope),
    )


def _openings(book: Book, report: OverdueReport) -> dict[str, Spell | None]:
    """Since when each line is open; None where its record cannot tell."""
    spells = book.spells([line.item_no for line in report.usable_now if loop.tellable(line)])
    return {line.item_no: spells.get(line.item_no) for line in report.usable_now}


def _spares(report: OverdueReport, asked: Question) -> dict[str, list[tuple[str, str]]]:
    """What stands ready for the first lines of page one."""
    numbers = [line.item_no for line in report.usable_now[:SPARED]]
    offers = spares_of(numbers, asked, most=SPARES)
    return {item_no: [(one.name, one.place) for one in of if one.ready] for item_no, of in offers.items()} | {
        item_no: [] for item_no in numbers if item_no not in offers
    }


def _missing(asked: Question, scope: Scope) -> list[Missing]:
    return [one for one in missed(asked) if scope.covers(_place(one))]


def _place(one: Missing) -> Place:
    truck = one.truck
    depot = truck.depot or (truck.crew.depot if truck.crew else None)
    return Place(truck.crew.name if truck.crew else None, depot.name if depot else None)


def _not_seen(missing: list[Missing]) -> tuple[NotSeen, ...]:
    """The pieces with what they are, in one query."""
    items = Item.objects.filter(item_no__in=_keys(missing)).select_related("item_type")
    what = {one.item_no: described.heading(_identity(one)) for one in items}
    return tuple(
        NotSeen(
            one.item_no,
            what.get(one.item_no, ""),
            one.truck.name,
            (place := _place(one)).crew,
            place.depot,
            moments.local_day(one.check.finished_at, ZoneInfo(settings.TIME_ZONE)),
        )
        for one in missing
    )


def _identity(item: Item) -> dict[str, Any]:
    of = item.item_type
    return {
        "kind": of.kind,
        "class": of.cls,
        "hand": item.hand,
        "size": of.size,
        "length_mm": of.length_mm,
        "cable_size": of.cable_size,
        "cable_length_m": of.cable_length_m,
    }


def _keys(missing: list[Missing]) -> set[str]:
    return {one.item_no for one in missing}


def _lost(asked: Question, scope: Scope) -> tuple[Lost, ...]:
    """What is lost still, of our own."""
    found = lost_register(asked)
    return tuple(one for one in found if one.still and not one.owner and scope.covers(one.place))
