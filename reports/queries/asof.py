"""A past report again, as known then and as known now: what explains each difference, and the one that was sent."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.conf import settings
from django.db.models import Q
from django.utils import timezone, translation

from gear import queries
from gear.models import Entry, Item, Membership
from gear.queries import Question, rules_for
from gear.queries.places_then import register_then
from gear.queries.questions import question
from gear.rules.fold import ItemFacts
from gear.rules.readiness import Answer
from gear.rules.whereabouts import Place
from reports.models import WeeklyFile, WeeklyReport
from reports.queries.sent_reports import is_as_sent
from reports.rules.asof import OF_THE_WEEK, Pair, pairs, rows_that_differ
from reports.rules.overdue import Heading, OverdueReport, Scope, overdue

SILENT = ("noted", "labelled")  # entries that change no answer
AT_ONCE = 400


@dataclass(frozen=True)
class TwoReports:
    """One day, twice. `causes` are the entries that were recorded after `known_at` and bear on a piece that differs,
    `rules` those about rules; `doubtful` are names whose crew or depot of then is not known for sure.
    """

    then: OverdueReport
    now: OverdueReport
    pairs: tuple[Pair, ...]
    causes: Mapping[str, tuple[Entry, ...]]
    rules: tuple[Entry, ...]
    doubtful: tuple[str, ...]

    @property
    def different(self) -> tuple[Pair, ...]:
        return tuple(one for one in self.pairs if not one.same)


def two_reports(as_of: date, known_at: datetime, *, scope: Scope) -> TwoReports:
    """The report of a day as it was known at a moment, and as it is known now.

    Crews and depots are those of the moment in both, so that what differs is what was learned about the gear. Raises
    DoesNotReconcile. The number of queries grows only by batches of items.
    """
    asked, later = question(as_of, known_at=known_at), question(as_of)
    register = register_then(known_at)
    told = list(queries.fleets_then([asked, later]))
    places = register.places()
    then = _report([one for one, _other in told if one is not None], asked, scope, places)
    now = _report([other for _one, other in told if other is not None], later, scope, places)
    found = pairs(
        then,
        now,
        in_book_then=frozenset(one[0].item_no for one, _other in told if one is not None),
        in_book_now=frozenset(other[0].item_no for _one, other in told if other is not None),
    )
    different = [one.item_no for one in found if not one.same]
    return TwoReports(
        then, now, found, _causes(different, asked), _rule_entries(asked), tuple(sorted(register.doubtful))
    )


def _report(
    told: Iterable[tuple[Answer, ItemFacts]],
    asked: Question,
    scope: Scope,
    places: Mapping[tuple[str, str], Place],
) -> OverdueReport:
    rules = rules_for(asked)
    heading = Heading(
        as_of=asked.as_of,
        as_of_at=asked.as_of_at,
        made_at=asked.asked_at,
        zone=settings.TIME_ZONE,
        rule_pack=rules.pack.label if rules.pack else "",
        demo=settings.DEMO,
        scope=scope,
        known_at=asked.known_at,
    )
    return overdue(told, heading=heading, places=places)


def _causes(item_nos: list[str], asked: Question) -> dict[str, tuple[Entry, ...]]:
    """What was recorded later about these pieces and those that were ever in a set with them, in order of recording."""
    found: dict[str, tuple[Entry, ...]] = {}
    for start in range(0, len(item_nos), AT_ONCE):
        batch = item_nos[start : start + AT_ONCE]
        own = dict(Item.objects.filter(item_no__in=batch).values_list("pk", "item_no"))
        mates = _mates(own)
        entries = Entry.objects.filter(_bears(asked), item__in={*own, *mates}).exclude(kind__in=SILENT)
        by_item: dict[int, list[Entry]] = {}
        for entry in entries.select_related("by", "item").order_by("recorded_at", "position"):
            by_item.setdefault(entry.item_id or 0, []).append(entry)
        for pk, item_no in own.items():
            concerned = {pk, *(mate for mate, of in mates.items() if pk in of)}
            told = [entry for one in concerned for entry in by_item.get(one, ())]
            found[item_no] = tuple(sorted(told, key=lambda entry: (entry.item_id != pk, entry.recorded_at)))
    return found


def _bears(asked: Question) -> Q:
    """Entries that were recorded after the moment and speak of the day: a correction may speak of any day."""
    of_the_day = Q(occurred_at__lte=asked.as_of_at) | Q(kind__in=("corrected", "received"))
    return of_the_day & Q(recorded_at__gt=asked.known_at)


def _mates(own: Iterable[int]) -> dict[int, set[int]]:
    """mate: the pieces of `own` that it was ever in a set with."""
    sets: dict[int, set[int]] = {}
    for item, gear_set in Membership.objects.filter(item__in=list(own)).values_list("item_id", "gear_set_id"):
        sets.setdefault(gear_set, set()).add(item)
    found: dict[int, set[int]] = {}
    for item, gear_set in Membership.objects.filter(gear_set__in=sets).values_list("item_id", "gear_set_id"):
        found.setdefault(item, set()).update(sets[gear_set] - {item})
    return found


def _rule_entries(asked: Question) -> tuple[Entry, ...]:
    """Packs and policies recorded later that count on the day."""
    rows = Entry.objects.filter(
        item=None, gear_set=None, kind__in=("pack_adopted", "policy_set"), recorded_at__gt=asked.known_at
    )
    day = asked.as_of.isoformat()
    found = rows.select_related("by").order_by("position")
    return tuple(one for one in found if str(one.facts.get("effective_from", "")) <= day)


@dataclass(frozen=True)
class AsSent:
    """A report that was sent, held against the same report made again. `differ` are the pieces whose rows differ.

    `whole` tells whether its file is there and its bytes fit its hash; where not, nothing is compared. `identical` is
    that every cell and the order of rows are the same, what the week adds left out.
    """

    report: WeeklyReport
    whole: bool
    differ: tuple[str, ...] = ()
    identical: bool = False


def question_of(report: WeeklyReport) -> tuple[date, datetime]:
    """(the day, the moment by which things were known) that a report that was sent was made for."""
    return timezone.localdate(report.as_of_at), report.known_at


def held_against_sent(report: WeeklyReport, again: Iterator[str]) -> AsSent:
    """A report that was sent beside `again`, the lines of the CSV of the same report made again."""
    file = WeeklyFile.objects.filter(report=report, kind="csv").first()
    if file is None or not is_as_sent(file):
        return AsSent(report, whole=False)
    with translation.override(settings.LANGUAGE_CODE):  # it was sent in the language of the site
        ours = "".join(again)
    rows = [_of_the_book(text) for text in (ours, bytes(file.content).decode())]
    key = rows[0][0].index("item_no")
    return AsSent(report, True, rows_that_differ(*rows, key=key), rows[0] == rows[1])


def _of_the_book(text: str) -> list[list[str]]:
    """The rows of such a file without what the week adds to them."""
    rows = list(csv.reader(io.StringIO(text)))
    kept = [at for at, name in enumerate(rows[0]) if name not in OF_THE_WEEK]
    return [[row[at] for at in kept if at < len(row)] for row in rows]
