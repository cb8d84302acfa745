"""ISO weeks, and the moment of each at which its report is due. Pure: the zone and the day are told.

Weeks are numbered as ISO 8601 numbers them: Monday is the first day, and week 1 holds the year's first Thursday.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

MOST_MADE_UP = 8  # weeks; older ones that were missed are told and not made up (common practice, no source)
_LABEL = re.compile(r"([0-9]{4})-W([0-9]{2})")


@dataclass(frozen=True, order=True)
class Week:
    """One ISO week."""

    year: int
    number: int

    @property
    def label(self) -> str:
        """`2026-W38`, as ISO 8601 writes it."""
        return f"{self.year}-W{self.number:02d}"

    @property
    def monday(self) -> date:
        return date.fromisocalendar(self.year, self.number, 1)

    @property
    def before(self) -> Week:
        return week_of(self.monday - timedelta(days=7))

    @property
    def after(self) -> Week:
        return week_of(self.monday + timedelta(days=7))


def week_of(day: date) -> Week:
    """The week of a day."""
    year, number, _weekday = day.isocalendar()
    return Week(year, number)


def week_in(label: str) -> Week:
    """The week of `2026-W38`. Raises ValueError."""
    found = _LABEL.fullmatch(label)
    if found is None:
        raise ValueError(f"{label!r} is no ISO week.")
    week = Week(int(found[1]), int(found[2]))
    return week_of(week.monday)


def moment_of(week: Week, *, hour: int, zone: ZoneInfo) -> datetime:
    """When the report of a week is due, in UTC: Monday at `hour`, or the moment at which that hour is skipped."""
    return datetime.combine(week.monday, time(hour), tzinfo=zone).astimezone(UTC)


def newest_due(now: datetime, *, hour: int, zone: ZoneInfo) -> Week:
    """The week whose moment came last; early on a Monday that is the week before."""
    week = week_of(now.astimezone(zone).date())
    return week if moment_of(week, hour=hour, zone=zone) <= now else week.before


@dataclass(frozen=True)
class Due:
    """The weeks to be reported, oldest first; `passed_over` counts those that are too long ago."""

    weeks: tuple[Week, ...]
    passed_over: int = 0


def due_weeks(first: datetime | None, now: datetime, *, hour: int, zone: ZoneInfo) -> Due:
    """Every week whose moment came between the first record and now, at most the newest MOST_MADE_UP.

    Without a record (`first` is None) there is nothing to report.
    """
    if first is None:
        return Due(())
    found: list[Week] = []
    week, passed_over = newest_due(now, hour=hour, zone=zone), 0
    while moment_of(week, hour=hour, zone=zone) >= first:
        if len(found) < MOST_MADE_UP:
            found.append(week)
        else:
            passed_over += 1
        week = week.before
    return Due(tuple(reversed(found)), passed_over)
