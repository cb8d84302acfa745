"""Calendar days of the site and moments in UTC. Every function is told the zone; none reads a clock."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

FOR_EVER = datetime.max.replace(tzinfo=UTC)


def start_of_day(day: date, zone: ZoneInfo) -> datetime:
    """The first moment of a calendar day of the site, in UTC."""
    return datetime.combine(day, time.min, tzinfo=zone).astimezone(UTC)


def end_of_day(day: date, zone: ZoneInfo) -> datetime:
    """The last microsecond of a calendar day of the site, in UTC; right on days of 23 and 25 hours too."""
    return start_of_day(day + timedelta(days=1), zone) - timedelta(microseconds=1)


def late_in_day(day: date, zone: ZoneInfo) -> datetime:
    """23:59:59 of a day of the site, in UTC: where an undated-by-the-hour failure or event sorts."""
    return start_of_day(day + timedelta(days=1), zone) - timedelta(seconds=1)


def local_day(moment: datetime, zone: ZoneInfo) -> date:
    """The site's calendar day of an aware moment."""
    return moment.astimezone(zone).date()
