"""The clocks of an item: each says until when it may be used; the earliest wins and is named."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

from dateutil.relativedelta import relativedelta

from gear.rules.packs import Interval, KindRule


@dataclass(frozen=True, order=True)
class Clock:
    """One clock. `good_through` is the last day of use; `source` the clause or practice behind it."""

    good_through: date
    name: str
    source: str


@lru_cache(maxsize=65536)
def anniversary(start: date, count: int, unit: str) -> date:
    """The first day *out*: `start` plus `count` months (month end clamped) or days.

    31 Aug 2026 + 6 months is 28 Feb 2027; 29 Feb 2028 + 12 months is 28 Feb 2029.
    Raises ValueError for another unit. The only place where months are added.
    """
    if unit == "months":
        return start + relativedelta(months=count)
    if unit == "days":
        return start + timedelta(days=count)
    raise ValueError(f"An interval is in months or days, not in {unit!r}.")


def last_good_day(start: date, interval: Interval) -> date:
    """The day before the anniversary (strict reading; OSHA letter of 19 Aug 2020 for the example)."""
    return anniversary(start, interval.count, interval.unit) - timedelta(days=1)


def name_of(base: str, interval: Interval) -> str:
    """`last_test+12` for months, `last_test+30d` for days."""
    return f"{base}+{interval.count}{'d' if interval.unit == 'days' else ''}"


@dataclass(frozen=True)
class Limits:
    """What the pack and the site policy ask of one kind, side by side; neither replaces the other.

    `pack_interval` and `policy_interval` may be None (no calendar clock). Because the earliest clock
    wins, a site interval can only ever shorten.
    """

    pack_interval: Interval | None
    policy_interval: Interval | None
    shelf_limits: tuple[tuple[Interval, str], ...]
    count_from_test: bool
    pack_source: str
    policy_source: str

    def intervals(self) -> tuple[tuple[Interval, str], ...]:
        both = ((self.pack_interval, self.pack_source), (self.policy_interval, self.policy_source))
        return tuple((interval, source) for interval, source in both if interval is not None)


def limits_for(
    rule: KindRule,
    policy_intervals: Mapping,
    policy_shelf: Mapping,
    *,
    count_from_test: bool,
    policy_source: str,
) -> Limits:
    """Put the pack's rule of a kind and the site's choices for it together."""
    source = f"{rule.source}: {rule.clause}" if rule.clause else rule.source
    shelf = [(rule.shelf_limit, source)] if rule.shelf_limit else []
    if rule.kind in policy_shelf:
        shelf.append((policy_shelf[rule.kind], policy_source))
    return Limits(
        rule.interval, policy_intervals.get(rule.kind), tuple(shelf), count_from_test, source, policy_source
    )


def running(
    limits: Limits,
    *,
    last_test_on: date | None,
    first_issued_on: date | None,
    first_issue_known: bool,
    issued: bool,
    marked_expiry_on: date | None,
) -> tuple[Clock, ...]:
    """Every clock that runs, earliest first. Empty when nothing dates the item.

    `last_test_on` is the last accepted test (None when an event ended the clocks or there is none);
    `issued` is whether the item was ever put in service. Phases as in 29 CFR 1910.137 Table I-5 with its
    footnote, read as in the regulator's letters of 25 Jan 2019 and 19 Aug 2020.
    """
    clocks = []
    if last_test_on is not None:
        from_issue = first_issued_on if first_issue_known and not limits.count_from_test else None
        if not issued:
            clocks += _never_issued(limits, last_test_on)
        elif from_issue is not None and last_test_on <= from_issue:
            clocks += _first_period(limits, last_test_on, from_issue)
        else:
            clocks += _from(last_test_on, "last_test", limits.intervals())
    if marked_expiry_on is not None:
        clocks.append(Clock(marked_expiry_on, "marked_expiry", "expiry date marked on the item"))
    return tuple(sorted(set(clocks)))


def _from(start: date, base: str, intervals: Iterable[tuple[Interval, str]]) -> list[Clock]:
    return [
        Clock(last_good_day(start, interval), name_of(base, interval), source)
        for interval, source in intervals
    ]


def _never_issued(limits: Limits, last_test_on: date) -> list[Clock]:
    """The shelf limit; a kind without one counts its interval from the test."""
    return _from(last_test_on, "last_test", limits.shelf_limits or limits.intervals())


def _first_period(limits: Limits, last_test_on: date, first_issued_on: date) -> list[Clock]:
    return _from(first_issued_on, "first_issue", limits.intervals()) + _from(
        last_test_on, "last_test", limits.shelf_limits
    )
