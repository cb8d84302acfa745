"""Bench sessions to look at: every row with what it says now, the counts, and what the readings say together."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.db.models import Count, Q, QuerySet

from gear.models import Entry, Item, ItemState
from inspections.models import BenchRow, BenchSession, ElectricalTest
from inspections.queries.electrical import tests_in_force
from inspections.rules import bench_watch, testfacts
from inspections.rules.acceptance import ACCEPTED, FAILED, UNJUDGED, VOID, Expected, Finding, implausible
from inspections.rules.bench import GROUND
from inspections.rules.bench_scan import Before
from inspections.rules.bench_watch import Drift, EqualRun, Taken

RECENT = 12


@dataclass(frozen=True)
class RowNow:
    """A live row with what it says in the company of the others: `findings` worst first, `doubts` are codes."""

    row: BenchRow
    outcome: str
    findings: tuple[Finding, ...]
    doubts: tuple[str, ...] = ()
    expected: Expected | None = None

    @property
    def lacks_look(self) -> bool:
        """Whether a look is still to come and nothing that was found makes it needless."""
        return (
            self.outcome != FAILED
            and "" in (self.row.look_before, self.row.look_after)
            and not ({self.row.look_before, self.row.look_after} & {"reject", "test", "clean"})
        )


@dataclass(frozen=True)
class Board:
    """A session at one moment. `rows` are live, in the order of typing; `struck` those that count no more."""

    session: BenchSession
    rows: Sequence[RowNow]
    struck: Sequence[BenchRow]
    runs: Sequence[EqualRun] = ()
    drifts: Sequence[Drift] = ()
    counts: Mapping[str, int] = field(default_factory=dict)

    def find(self, pk: object) -> RowNow | None:
        """The live row of an id."""
        return next((one for one in self.rows if one.row.pk == pk), None)

    def of_item(self, item: Item) -> RowNow | None:
        """The live row of an item."""
        return next((one for one in self.rows if one.row.item_id == item.pk), None)


def board(session: BenchSession) -> Board:
    """All of a session, with two queries however many rows it has."""
    rows = list(
        BenchRow.objects.filter(session=session)
        .select_related("item__item_type", "by", "checker", "looked_by", "struck_by")
        .order_by("position")
    )
    live = [row for row in rows if not row.struck]
    taken = [one for row in live if (one := taken_of(row, supply=session.supply))]
    expected, runs = bench_watch.expected(taken), bench_watch.equal_runs(taken)
    in_a_run = {position for run in runs for position in run.positions}
    had_failed = {row.item_id for row in rows if row.struck and row.outcome == FAILED}
    told = [
        _told(
            row,
            expected=expected.get(row.position),
            is_equal=row.position in in_a_run,
            had_failed=row.item_id in had_failed,
            supply=session.supply,
        )
        for row in live
    ]
    counts = Counter(one.outcome for one in told)
    return Board(
        session,
        told,
        [row for row in rows if row.struck],
        runs,
        bench_watch.drifts(taken),
        {name: counts[name] for name in (ACCEPTED, FAILED, VOID, UNJUDGED)},
    )


def taken_of(row: BenchRow, *, supply: str) -> Taken | None:
    """The reading of a row that can be compared with others; None where it has none."""
    kind = row.item.item_type
    if row.breakdown or row.flashover:
        return None
    if kind.kind == GROUND and row.resistance_mohm is not None:
        group = (GROUND, kind.cable_size, _plain(kind.cable_length_m))
        return Taken(row.position, group, row.resistance_mohm, checked=row.checker_id is not None)
    if kind.kind == "glove" and supply == "ac" and row.leakage_ma is not None:
        group = ("glove", kind.cls, str(kind.length_mm or ""))
        return Taken(row.position, group, row.leakage_ma, row.earlier_ma, checked=row.checker_id is not None)
    return None


def _plain(value: Decimal | None) -> str:
    return "" if value is None else testfacts.plain(value)


def _told(
    row: BenchRow,
    *,
    expected: Expected | None,
    is_equal: bool,
    had_failed: bool,
    supply: str,
) -> RowNow:
    judgement = testfacts.recorded(row.judged)
    findings, outcome = judgement.codes, judgement.outcome
    known = {one.code for one in findings}
    if row.leakage_ma and supply == "ac" and not known & {"CURRENT_ABOVE_LIMIT", "CURRENT_ABOVE_EVERY_LIMIT"}:
        low = tuple(implausible(row.leakage_ma, expected))
        findings += low
        outcome = VOID if low and outcome != FAILED else outcome
    doubts = ["EQUAL_READINGS"] if is_equal else []
    if had_failed and outcome != FAILED and row.checker_id is None:
        doubts.append("BETTER_THAN_BEFORE")
    return RowNow(row, outcome, findings, tuple(doubts), expected)


def sessions() -> QuerySet[BenchSession]:
    """Sessions with the number of their live rows, the newest first."""
    live = Count("rows", filter=Q(rows__struck=False))
    return BenchSession.objects.select_related("opened_by", "posted_by").annotate(live=live).order_by("-pk")


def mates_missing(rows: Iterable[BenchRow]) -> list[ItemState]:
    """Members of the pairs and grounding sets of these rows that have no row among them; one query."""
    items = [row.item_id for row in rows]
    sets = ItemState.objects.filter(pk__in=items, gear_set__isnull=False).values("gear_set")
    return list(
        ItemState.objects.filter(gear_set__in=sets)
        .exclude(pk__in=items)
        .exclude(condition__in=("destroyed", "lost"))
        .select_related("item__item_type", "gear_set", "holder")
        .order_by("gear_set__set_no", "item__item_no")
    )


def last_accepted_ma(item: Item, *, other_than: Entry | None = None) -> Decimal | None:
    """The current of the last accepted test on AC that counts, or None. `other_than` is a `tested` entry left out."""
    found = tests_in_force().filter(item=item, outcome=ACCEPTED, supply="ac", leakage_ma__gt=0)
    if other_than is not None:
        found = found.exclude(of=other_than.pk)
    return found.order_by("-tested_on", "-pk").values_list("leakage_ma", flat=True).first()


def row_before(found: Board, *, by_id: int) -> Before | None:
    """The item that this clerk logged last, and whether its mate has a row yet."""
    own = [one.row for one in found.rows if one.row.by_id == by_id]
    if not own:
        return None
    last = own[-1].item
    state = ItemState.objects.filter(pk=last.pk).values_list("gear_set__set_no", "gear_set_id").first()
    set_no, set_id = state or (None, None)
    if set_id is None:
        return None
    mate = ItemState.objects.filter(gear_set_id=set_id).exclude(pk=last.pk).select_related("item").first()
    return Before(
        last.item_no,
        last.item_type.kind,
        last.hand,
        set_no or "",
        mate.item.item_no if mate else "",
        mate is not None and found.of_item(mate.item) is not None,
    )


def posted_tests(session: BenchSession) -> list[ElectricalTest]:
    """The tests that a session became, in the order of their rows."""
    found: QuerySet[Any] = ElectricalTest.objects.filter(session=session).select_related("item", "bench_row")
    return list(found.order_by("bench_row__position"))


@dataclass(frozen=True)
class GroundSet:
    """A grounding set with jumpers in a session: the worst of what they say is what the set says."""

    set_no: str
    outcome: str
    tested: int
    pieces: int

    @property
    def is_complete(self) -> bool:
        return self.tested >= self.pieces


WORST_FIRST = (FAILED, VOID, UNJUDGED, ACCEPTED)


def ground_sets(found: Board) -> list[GroundSet]:
    """The grounding sets of the jumpers of a session. A jumper that failed fails its set until it is replaced."""
    jumpers = {one.row.item_id: one for one in found.rows if one.row.item.item_type.kind == GROUND}
    if not jumpers:
        return []
    states = ItemState.objects.filter(pk__in=jumpers, gear_set__isnull=False).select_related("gear_set")
    sets: dict[str, list[RowNow]] = {}
    pieces = {}
    for state in states.order_by("gear_set__set_no"):
        sets.setdefault(state.gear_set.set_no, []).append(jumpers[state.pk])
        pieces[state.gear_set.set_no] = state.gear_set.required or 0
    return [
        GroundSet(
            number, min((one.outcome for one in rows), key=WORST_FIRST.index), len(rows), pieces[number]
        )
        for number, rows in sets.items()
    ]
