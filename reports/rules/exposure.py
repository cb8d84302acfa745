"""Exposure-days: on how many days a piece that was not good lay where somebody could pick it up and use it.

A day counts for what held at its end. Custody, conditions and dates are therefore half-open: whatever begins on a day
counts from that day on, up to but not including the day on which something else begins. A piece whose last good day is
the 13th, taken off its truck on the 15th, was out of date there on one day, the 14th.

On a shelf, at a bench or a lab nothing counts. A piece that is reported lost goes on counting where it was last, until
it is found or destroyed: somebody may have it, and a figure must not fall because gear is written off. A piece counts
by its own record alone: a mate that is missing or out of date counts for the mate, once. What is missing of a look
before use does not count: it is asked for anew each day.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from gear.rules import fold, readiness
from gear.rules.correcting import corrected
from gear.rules.entries import UNREADABLE, Line
from gear.rules.fold import ItemFacts
from gear.rules.moments import FOR_EVER
from gear.rules.readiness import Rules

BY_DATE = frozenset({"OUT_OF_DATE", "SHELF_LIMIT"})
BESIDE = frozenset({"SET_NOT_COMPLETE", "NOT_INSPECTED", "OTHER_HOLDER"})
DAY = timedelta(days=1)


@dataclass(frozen=True)
class State:
    """What held of a piece from the end of one day on, up to but not including the end of another."""

    first: date
    end: date
    facts: ItemFacts

    @property
    def days(self) -> int:
        return (self.end - self.first).days


@dataclass(frozen=True)
class Exposure:
    """Item-days: where it could be used, of these past its date, not good for another reason, and lost (in both)."""

    in_service: int = 0
    overdue: int = 0
    otherwise: int = 0
    lost: int = 0

    def __add__(self, other: Exposure) -> Exposure:
        return Exposure(
            self.in_service + other.in_service,
            self.overdue + other.overdue,
            self.otherwise + other.otherwise,
            self.lost + other.lost,
        )


def per_thousand(days: int, of: int) -> float | None:
    """Days for each 1,000 item-days in service; None where nothing was in service."""
    return 1000 * days / of if of else None


def states(
    item_no: str,
    lines: Sequence[Line],
    *,
    first: date,
    last: date,
    end_of: Callable[[date], datetime],
    changes: Iterable[date] = (),
) -> list[State]:
    """What held of a piece on each day from `first` through `last`, as known from all its entries, corrections applied.

    `end_of` gives the last moment of a calendar day of the site; `changes` are further days on which a state may not
    go on, for other rules count from then.
    """
    days = {first, *(day for day in changes if first < day <= last)}
    days |= {line.occurred_on for line in corrected(lines) if first < line.occurred_on <= last}
    ordered = [*sorted(days), last + DAY]
    return [
        State(
            begins, end, fold.fold(item_no, lines, as_of_at=end_of(begins), known_at=FOR_EVER)
        )
        for begins, end in zip(ordered, ordered[1:], strict=False)
    ]  # fmt: skip


def exposure(found: Iterable[State], rules_on: Callable[[date], Rules]) -> Exposure:
    """The item-days of one piece, each state judged by the rules of its first day."""
    total = Exposure()
    for state in found:
        total += _of(state, rules_on)
    return total


def _of(state: State, rules_on: Callable[[date], Rules]) -> Exposure:
    facts = state.facts
    if not facts.usable or facts.destroyed:
        return Exposure()
    lost = state.days if facts.lost else 0
    try:
        answer = readiness.decide(facts, rules_on(state.first), as_of=state.first)
    except UNREADABLE:
        return Exposure(state.days, 0, state.days, lost)  # what cannot be read is never good
    codes = {reason.code for reason in answer.reasons} - BESIDE - BY_DATE
    over = _days_after(answer.good_through, state)
    return Exposure(state.days, over, state.days - over if codes else 0, lost)


def _days_after(last_good: date | None, state: State) -> int:
    if last_good is None:
        return 0
    return max(0, (state.end - max(state.first, last_good + DAY)).days)
