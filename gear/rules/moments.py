"""Calendar days of the site and moments in UTC. Every function is told the zone; none reads a clock.

Days at the very ends of the calendar have no moment in some zones: the first or last moment there is stands for it.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

FROM_EVER = datetime.min.replace(tzinfo=UTC)
FOR_EVER = datetime.max.replace(tzinfo=UTC)


def start_of_day(day: date, zone: ZoneInfo) -> datetime:
    """The first moment of a calendar day of the site, in UTC; where midnight is skipped, the moment of the skip."""
    try:
        return datetime.combine(day, time.min, tzinfo=zone).astimezone(UTC)
    except OverflowError:
        return FROM_EVER  # the first day of the calendar, east of Greenwich


def end_of_day(day: date, zone: ZoneInfo) -> datetime:
    """The last microsecond of a calendar day of the site, in UTC; right on days of 23 and 25 hours too."""
    if day == date.max:
        return FOR_EVER
    return start_of_day(day + timedelta(days=1), zone) - timedelta(microseconds=1)


def late_in_day(day: date, zone: ZoneInfo) -> datetime:
    """23:59:59 of a day of the site, in UTC: where an undated-by-the-hour failure or event sorts."""
    return end_of_day(day, zone).replace(microsecond=0)


def local_day(moment: datetime, zone: ZoneInfo) -> date:
    """The site's calendar day of an aware moment."""
    try:
        return moment.astimezone(zone).date()
    except OverflowError:
        return date.min if moment.year == date.min.year else date.max


def moments_of(wall: datetime, zone: ZoneInfo) -> tuple[datetime, ...]:
    """The moments, in UTC, at which the clocks of the zone show `wall` (a datetime without a zone), earliest first.

    None where the clocks were put forward over it, two where they were put back over it.
    """
    both = {wall.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1)}
    return tuple(sorted(one for one in both if one.astimezone(zone).replace(tzinfo=None) == wall))
