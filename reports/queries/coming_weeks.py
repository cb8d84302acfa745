"""What the look ahead reads: the book as of today, what bench and labs take, and what lies ready."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

from django.db.models import QuerySet

from gear import queries
from gear.queries import Question
from gear.queries.whereabouts import places
from gear.rules.fold import ItemFacts
from gear.rules.readiness import Answer
from gear.rules.whereabouts import Place
from reports.models import WeeklyCapacity
from reports.queries.changeout import change_out_list
from reports.rules.changeout import Row
from reports.rules.overdue import Scope
from reports.rules.planning import USUAL, WEEK, Ahead, Capacity, Load, load, plan, week_of


def coming_weeks(
    asked: Question, *, weeks: int = USUAL, judged: Iterable[tuple[Answer, ItemFacts]] | None = None
) -> Ahead:
    """The look ahead over the whole book from today on. A constant number of queries, however many pieces.

    Capacity is shared by all depots, so what falls due is counted for all of them whoever asks; no name is in it but
    in `load.due`. Whoever has judged the fleet of the same question already passes it on as `judged`. Raises ValueError
    for weeks that cannot be looked ahead.
    """
    told = queries.fleet(asked) if judged is None else judged
    found = load(told, as_of=asked.as_of, weeks=weeks, places=places())
    stated = tuple(capacities())
    return Ahead(found, plan(found, stated), stated)


def capacities() -> list[Capacity]:
    """Everything that was ever stated, as the rules take it, in the order of entry. One query."""
    rows = WeeklyCapacity.objects.order_by("pk")
    return [
        Capacity(*values)
        for values in rows.values_list("pk", "place__name", "kind", "pieces", "first_week", "last_week")
    ]


def stated() -> QuerySet[WeeklyCapacity]:
    """Everything that was ever stated, the newest first, with its place and its person."""
    return WeeklyCapacity.objects.select_related("place", "by").order_by("-pk")


@dataclass
class Pairs:
    """Pairs in hands that must be changed, and for how many of them one lies ready that would do."""

    due: int = 0
    ready: int = 0

    def take(self, row: Row, floor: int) -> None:
        self.due += 1
        self.ready += _would_do(row, floor)


@dataclass(frozen=True)
class Replacing:
    """Pairs by week (None: due already) and by place. No spare is counted for two."""

    by_week: Mapping[date | None, Pairs] = field(default_factory=dict)
    by_place: Mapping[Place, Pairs] = field(default_factory=dict)


def replacing(asked: Question, found: Load, *, scope: Scope) -> Replacing:
    """For which pairs that fall due in these weeks a good one of the same kind, class and size lies on a shelf."""
    last = found.weeks[-1] + WEEK
    listed = change_out_list(asked, scope=scope, within=(last - asked.as_of).days - 1)
    by_week: dict[date | None, Pairs] = {}
    by_place: dict[Place, Pairs] = {}
    for crew in listed.crews:
        for row in crew.rows:
            waits = not row.worn.pair.good or row.due is None
            by_week.setdefault(None if waits else week_of(row.due), Pairs()).take(row, listed.floor)
            by_place.setdefault(crew.place, Pairs()).take(row, listed.floor)
    return Replacing(by_week, by_place)


def _would_do(row: Row, floor: int) -> bool:
    """Whether the proposed pair still gives the days of the policy when the old one is due.

    What it gives is worked out as if it were issued today. A later issue never gives less, so this counts too few
    rather than too many.
    """
    if row.incoming is None or row.incoming.gives is None:
        return False
    return row.due is None or (row.incoming.gives - max(row.due, row.worn.pair.as_of)).days >= floor


def where_due(found: Load, scope: Scope) -> list[tuple[Place, Counter[date | None]]]:
    """Of the pieces that a reader may see: how many fall due at each place, by week (None: due already)."""
    at: dict[Place, Counter[date | None]] = {}
    for one in found.due:
        if scope.covers(one.place):
            at.setdefault(one.place, Counter())[None if one.waits else week_of(one.on)] += 1
    return sorted(
        at.items(), key=lambda pair: (pair[0].depot or "", pair[0].crew is None, pair[0].crew or "")
    )
