"""The overdue report as data: what is not good where it could be used, what is not good elsewhere, what falls due.

Nothing is judged here: every line repeats what readiness.decide answered. What is counted is counted once, and
the sums are checked, so that an item can be listed wrongly by no fault but never go missing by one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import TYPE_CHECKING

from gear.rules.entries import CONDITIONS
from gear.rules.fold import ItemFacts
from gear.rules.readiness import GOOD, UNKNOWN, Answer, Reason
from gear.rules.whereabouts import Place, place_of

if TYPE_CHECKING:
    from reports.rules.loop import Loop

DUE_SOON_DAYS = 28
DUE_WITHIN = (7, 14, 28)  # days: the steps in which what falls due is shown
NOT_READ = "unknown"  # stands among the conditions for an item whose record cannot be read
# Codes that say that this service or its record is at fault, not the item.
FAULTS = frozenset({"PACK_REFUSED", "CHAIN_BROKEN", "CLOCK_BEHIND", "RESTORED", "RECORD_UNREADABLE"})


class DoesNotReconcile(Exception):
    """The report does not account for every item exactly once. It must not be shown."""


@dataclass(frozen=True)
class Scope:
    """Whose gear is reported: that of the whole book, of one crew, or of one depot (`kind`), by name."""

    kind: str = "book"
    name: str | None = None

    def covers(self, line: Line | Place) -> bool:
        """Whether a line, or what is at a place, belongs here. A crew or depot without a name owns nothing."""
        if self.kind == "book":
            return True
        owner = line.crew if self.kind == "crew" else line.depot
        return owner is not None and owner == self.name


@dataclass(frozen=True)
class SealMark:
    """The newest seal over the record: its number, moment, how many rows it covers, and their Merkle root."""

    number: int
    sealed_at: datetime
    row_count: int
    merkle_root: str


@dataclass(frozen=True)
class Heading:
    """What stands over every copy: the day, the moment up to which events count, when it was made, in which zone.

    `rule_pack` is the label of the rules in force on the day, empty where they were refused.
    """

    as_of: date
    as_of_at: datetime
    made_at: datetime
    zone: str
    rule_pack: str
    seal: SealMark | None = None
    demo: bool = False
    scope: Scope = Scope()
    known_at: datetime | None = None  # only what was on record by then counts; None: all of it


@dataclass(frozen=True)
class Promised:
    """Who takes care of a line, and by when; `by` wrote it down at `at`. It changes neither a verdict nor a date."""

    owner: str
    promised_on: date
    note: str
    by: str
    at: datetime

    def broken(self, as_of: date) -> bool:
        """Whether its day is past, and the line is open still."""
        return self.promised_on < as_of


@dataclass(frozen=True)
class Line:
    """One item. `days_over` counts days past the last good day; `days_left` those up to it, for a good item.

    Of a line of page one: `open_since` is the day since when it is usable and not good (None: cannot be told),
    `carried` that this was so a week before and ever since, `promised` who closes it, `spare` what stands ready in its
    place ("" for nothing, None where nobody looked).
    """

    item_no: str
    kind: str | None
    cls: str | None
    verdict: str
    condition: str
    reasons: tuple[Reason, ...]
    holder: str | None = None
    holder_kind: str | None = None
    crew: str | None = None
    depot: str | None = None
    set_no: str | None = None
    good_through: date | None = None
    days_over: int | None = None
    days_left: int | None = None
    winning_clock: str | None = None
    usable: bool = False
    owner: str | None = None
    gone_home: bool = False
    open_since: date | None = None
    carried: bool = False
    promised: Promised | None = None
    spare: str | None = None
    size: str | None = None

    @property
    def rank(self) -> int:
        """Rank of the worst reason; a lower one is worse."""
        return self.reasons[0].rank if self.reasons else 0


@dataclass(frozen=True)
class Counts:
    """The figures of page one, whole whatever is shown.

    `overdue`, `blocked` and `unknown_in_hands` add up to the lines of `usable_now`: past the last good day, stopped
    for another reason, and without an answer. `lost` and `unknown` count wherever the item was last.
    """

    overdue: int
    blocked: int
    unknown_in_hands: int
    lost: int
    unknown: int
    oldest_days_over: int | None


@dataclass(frozen=True)
class OverdueReport:
    """The whole report; page, PDF, CSV, XLSX and JSON are made of it alone.

    `totals` counts the items of each condition and, under "items_in_book", all of them. `good` and `gone` (destroyed
    and with nobody, or gone home with its owner) are the items that stand in no list but perhaps `due_soon`.
    `visitors` is the same about the gear of others, of which nothing is counted here; None where there never was any.
    `loop` compares the counts with those of a week before; None where that was not asked for.
    """

    heading: Heading
    totals: Mapping[str, int]
    usable_now: tuple[Line, ...]
    off_the_road: tuple[Line, ...]
    due_soon: tuple[Line, ...]
    good: int
    gone: int
    counts: Counts
    faulty: tuple[str, ...]
    visitors: OverdueReport | None = None
    loop: Loop | None = None

    @property
    def all_faulty(self) -> tuple[str, ...]:
        """The items whose record cannot be relied upon, those of visitors among them."""
        return (*self.faulty, *(self.visitors.faulty if self.visitors else ()))

    @property
    def unplaced(self) -> tuple[Line, ...]:
        """Lines off the road only because the record does not say who has the item."""
        return tuple(line for line in self.off_the_road if line.holder is None)

    @property
    def due_by_step(self) -> tuple[tuple[int, tuple[Line, ...]], ...]:
        """(days, lines that fall due within them but not within the step before), for each of DUE_WITHIN."""
        steps = zip((-1, *DUE_WITHIN), DUE_WITHIN, strict=False)
        return tuple(
            (last, tuple(line for line in self.due_soon if before < (line.days_left or 0) <= last))
            for before, last in steps
        )


@dataclass(frozen=True)
class HolderGroup:
    """What one holder has, worst first."""

    name: str | None
    kind: str | None
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class CrewGroup:
    """What the holders of one crew have, the holder with the worst item first."""

    crew: str | None
    depot: str | None
    holders: tuple[HolderGroup, ...]


def overdue(
    judged: Iterable[tuple[Answer, ItemFacts]],
    *,
    heading: Heading,
    places: Mapping[tuple[str, str], Place] | None = None,
    bounds: Callable[[], tuple[int, int]] | None = None,
) -> OverdueReport:
    """The report over all items of the book, narrowed to `heading.scope`.

    `judged` holds one answer for each item; `places` maps (kind, name) of a holder to where it belongs today, and
    where it says nothing the entry's own words count; `bounds` tells, once all are judged, the fewest and the
    most items there can be, as counted in the table itself. An item whose facts cannot be read is listed as
    unknown, and as ours. The gear of visitors is counted apart, so that no figure of ours changes with it. Raises
    DoesNotReconcile.
    """
    ours = _Sorting(heading.scope, places or {})
    theirs = _Sorting(heading.scope, places or {}, ours.seen)
    for answer, facts in judged:
        (theirs if facts.owner else ours).take(answer, facts)
    fewest, most = bounds() if bounds else (0, len(ours.seen))
    if not fewest <= len(ours.seen) <= most:
        raise DoesNotReconcile(f"{len(ours.seen)} items were judged; {fewest} to {most} are in the table.")
    visitors = reconciled(theirs.report(heading)) if theirs.conditions else None
    return replace(reconciled(ours.report(heading)), visitors=visitors)


def reconciled(report: OverdueReport) -> OverdueReport:
    """The report itself, once its conditions, its lists and its counts are proven to sum to the items in the book."""
    items = report.totals["items_in_book"]
    by_condition = sum(count for name, count in report.totals.items() if name != "items_in_book")
    by_list = len(report.usable_now) + len(report.off_the_road) + report.good + report.gone
    counts = report.counts
    on_page_one = counts.overdue + counts.blocked + counts.unknown_in_hands
    if not (items == by_condition == by_list and on_page_one == len(report.usable_now)):
        raise DoesNotReconcile(
            f"{items} items in the book, {by_condition} by condition, {by_list} by list;"
            f" {len(report.usable_now)} usable now, {on_page_one} by count."
        )
    return report


def by_crew(lines: Sequence[Line]) -> tuple[CrewGroup, ...]:
    """Lines in their order, by crew and holder: whoever has the first comes first, and what was carried over leads."""
    crews: dict[tuple, dict[tuple, list[Line]]] = {}
    for line in lines:
        holders = crews.setdefault((line.crew, line.depot), {})
        holders.setdefault((line.carried, line.holder, line.holder_kind), []).append(line)
    return tuple(
        CrewGroup(
            crew,
            depot,
            tuple(HolderGroup(name, kind, tuple(had)) for (_carried, name, kind), had in holders.items()),
        )
        for (crew, depot), holders in crews.items()
    )


def worst_first(line: Line) -> tuple:
    """Sorting key: rank of the worst reason, then days over, then the item number."""
    return (line.rank, -(line.days_over or 0), line.item_no)


def soonest_first(line: Line) -> tuple:
    """Sorting key: days left, then where the item is, then its number."""
    return (line.days_left, line.crew or "", line.holder or "", line.item_no)


@dataclass
class _Sorting:
    """Items as they come, each put in one list."""

    scope: Scope
    places: Mapping[tuple[str, str], Place]
    seen: set[str] = field(default_factory=set)
    conditions: Counter[str] = field(default_factory=Counter)
    usable_now: list[Line] = field(default_factory=list)
    off_the_road: list[Line] = field(default_factory=list)
    due_soon: list[Line] = field(default_factory=list)
    faulty: list[str] = field(default_factory=list)
    good: int = 0
    gone: int = 0

    def take(self, answer: Answer, facts: ItemFacts) -> None:
        if answer.item_no in self.seen:
            raise DoesNotReconcile(f"Item {answer.item_no} was judged twice.")
        self.seen.add(answer.item_no)
        try:
            line = line_of(answer, facts, self.places)
        except Exception:
            # Whatever is wrong with one item's facts must not keep the others from being reported.
            line = _unreadable(answer)
        if not self.scope.covers(line):
            return
        self.conditions[line.condition] += 1
        if any(reason.code in FAULTS for reason in line.reasons):
            self.faulty.append(line.item_no)
        self._put(line)

    def _put(self, line: Line) -> None:
        if line.verdict == GOOD:
            self.good += 1
            if line.days_left is not None and line.days_left <= DUE_SOON_DAYS:
                self.due_soon.append(line)
        elif line.usable:
            self.usable_now.append(line)
        elif line.condition == "destroyed" or line.gone_home:
            self.gone += 1
        else:
            self.off_the_road.append(line)

    def report(self, heading: Heading) -> OverdueReport:
        totals = {name: self.conditions.pop(name, 0) for name in CONDITIONS}
        totals |= self.conditions  # NOT_READ, and whatever else is no condition: counted, never dropped
        totals["items_in_book"] = self.good + self.gone + len(self.usable_now) + len(self.off_the_road)
        return OverdueReport(
            heading,
            totals,
            tuple(sorted(self.usable_now, key=worst_first)),
            tuple(sorted(self.off_the_road, key=worst_first)),
            tuple(sorted(self.due_soon, key=soonest_first)),
            self.good,
            self.gone,
            _counts(self.usable_now, self.off_the_road, lost=totals["lost"]),
            tuple(self.faulty),
        )


def line_of(answer: Answer, facts: ItemFacts, places: Mapping[tuple[str, str], Place]) -> Line:
    """An answer as a line of the report."""
    holder = facts.holder or {}
    name, kind = holder.get("name"), holder.get("kind")
    place = place_of(facts.holder, places)
    return Line(
        answer.item_no,
        answer.kind,
        answer.cls,
        answer.verdict,
        NOT_READ if facts.unreadable else facts.condition,
        answer.reasons,
        holder=name,
        holder_kind=kind,
        crew=place.crew,
        depot=place.depot,
        set_no=facts.set_no,
        good_through=answer.good_through,
        days_over=answer.days_over,
        days_left=answer.days_left if answer.verdict == GOOD else None,
        winning_clock=answer.winning_clock,
        usable=facts.usable,
        owner=facts.owner,
        gone_home=facts.away is not None,
        size=facts.identity.get("size"),
    )


def _unreadable(answer: Answer) -> Line:
    """The line of an item of which not even the holder can be told. Its verdict is unknown whatever was answered."""
    reason = Reason("RECORD_UNREADABLE", "internal control")
    return Line(answer.item_no, answer.kind, answer.cls, UNKNOWN, NOT_READ, (reason,))


def _counts(usable_now: Sequence[Line], off_the_road: Sequence[Line], *, lost: int) -> Counts:
    in_hands = [line for line in usable_now if line.verdict == UNKNOWN]
    over = [line.days_over for line in usable_now if line.verdict != UNKNOWN and line.days_over is not None]
    return Counts(
        overdue=len(over),
        blocked=len(usable_now) - len(over) - len(in_hands),
        unknown_in_hands=len(in_hands),
        lost=lost,
        unknown=len(in_hands) + sum(line.verdict == UNKNOWN for line in off_the_road),
        oldest_days_over=max(over, default=None),
    )
