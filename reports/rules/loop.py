"""Closing the loop: since when each line of page one has been open, who promised to close it, and last week's counts.

Nothing here judges anything, and nothing here changes a verdict or a date.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass, replace
from datetime import datetime

from gear.rules.fold import ItemFacts
from gear.rules.readiness import UNKNOWN, Answer
from gear.rules.spells import Spell
from gear.rules.whereabouts import Places
from reports.rules.overdue import FAULTS, Line, OverdueReport, Promised, Scope, line_of, worst_first


@dataclass(frozen=True)
class Compared:
    """A count of page one, that of a week before, and how many are the same ones still."""

    now: int
    before: int
    still: int


@dataclass(frozen=True)
class Loop:
    """The four big counts of page one, beside those of a week before, as known now."""

    overdue: Compared
    blocked: Compared
    missing: Compared
    old_pairs: Compared


@dataclass(frozen=True)
class Before:
    """The numbers of what was on page one at a moment: past its last good day, and stopped or unknown."""

    overdue: frozenset[str]
    blocked: frozenset[str]


def before(judged: Iterable[tuple[Answer, ItemFacts]], *, scope: Scope, places: Places) -> Before:
    """What of our own was usable and not good, out of answers about such pieces at a moment."""
    overdue: set[str] = set()
    blocked: set[str] = set()
    for answer, facts in judged:
        try:
            line = line_of(answer, facts, places)
        except Exception:  # noqa: S112 - of such facts no report says that somebody could use the piece
            continue
        if facts.owner or not scope.covers(line):
            continue
        (overdue if is_overdue(line) else blocked).add(line.item_no)
    return Before(frozenset(overdue), frozenset(blocked))


def is_overdue(line: Line) -> bool:
    """Whether a line of page one counts as overdue: past its last good day, and something can be said of it."""
    return line.verdict != UNKNOWN and line.days_over is not None


def opened(
    report: OverdueReport, openings: Mapping[str, Spell | None], *, a_week_ago: datetime
) -> OverdueReport:
    """The report with each line of page one told since when it is open; those open for a week stand first.

    Where the record cannot tell (a broken chain, a refused pack), the line stands first as well, without a day.
    """
    lines = []
    for line in report.usable_now:
        opening = openings.get(line.item_no)
        carried = opening is None or opening.since <= a_week_ago
        lines.append(replace(line, carried=carried, open_since=opening.on if opening else None))
    return replace(report, usable_now=tuple(sorted(lines, key=carried_first)))


def tellable(line: Line) -> bool:
    """Whether the record of a line can tell since when it is open."""
    return not any(reason.code in FAULTS for reason in line.reasons)


def carried_first(line: Line) -> tuple:
    """Sorting key: open since last week, then rank of the worst reason, days over, item number."""
    return (not line.carried, *worst_first(line))


def promise_in_force(given: Iterable[Promised], opening: Spell | None) -> Promised | None:
    """The newest promise that belongs to the present spell of a piece; one of an earlier spell counts for nothing."""
    since = opening.told_from if opening else None
    standing = [one for one in given if since is None or one.at >= since]
    return max(standing, key=lambda one: one.at, default=None)


def with_promises(report: OverdueReport, in_force: Mapping[str, Promised]) -> OverdueReport:
    """The report with the promise of each line that has one."""
    lines = (replace(line, promised=in_force.get(line.item_no)) for line in report.usable_now)
    return replace(report, usable_now=tuple(lines))


def with_spares(report: OverdueReport, offers: Mapping[str, Iterable[tuple[str, str]]]) -> OverdueReport:
    """The report with what stands ready for the lines that were asked about: (unit, where it lies), the best first.

    A unit stands ready for one line, or for the pieces of one set; the first line takes it, and lines that are not good
    come before those that fall due.
    """
    taken: dict[str, str] = {}

    def one(line: Line) -> Line:
        if line.item_no not in offers:
            return line
        whole = line.set_no or f"item:{line.item_no}"
        for unit, place in offers[line.item_no]:
            if taken.setdefault(unit, whole) == whole:
                return replace(line, spare=f"{unit}, {place}" if place else unit)
        return replace(line, spare="")

    usable = tuple(map(one, report.usable_now))
    return replace(report, usable_now=usable, due_soon=tuple(map(one, report.due_soon)))


def looped(
    report: OverdueReport,
    then: Before,
    *,
    missing: tuple[Set[str], Set[str]],
    old_pairs: tuple[Set[str], Set[str]],
) -> OverdueReport:
    """The report with its four counts; `missing` and `old_pairs` are the keys (now, a week before)."""
    late = {line.item_no for line in report.usable_now if is_overdue(line)}
    other = {line.item_no for line in report.usable_now} - late
    carried = {line.item_no for line in report.usable_now if line.carried}
    loop = Loop(
        Compared(len(late), len(then.overdue), len(late & carried)),
        Compared(len(other), len(then.blocked), len(other & carried)),
        Compared(len(missing[0]), len(missing[1]), len(missing[0] & missing[1])),
        Compared(len(old_pairs[0]), len(old_pairs[1]), len(old_pairs[0] & old_pairs[1])),
    )
    return replace(report, loop=loop)
