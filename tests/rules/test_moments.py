"""Days of the site and moments in UTC, in zones from UTC-12 to UTC+14 and through both nights of the clock change."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gear.rules.moments import FOR_EVER, FROM_EVER, end_of_day, late_in_day, local_day, start_of_day

MICROSECOND = timedelta(microseconds=1)
# In the names of the tz database the sign is the other way round: Etc/GMT+12 is UTC-12.
FIXED = [f"Etc/GMT{-offset:+d}" for offset in range(-12, 15)]
SUMMER_TIME = ["America/New_York", "Australia/Sydney", "Europe/London", "America/Santiago", "Pacific/Chatham"]
AT_MIDNIGHT = [
    "Africa/Cairo",
    "Asia/Beirut",
    "America/Asuncion",
    "Atlantic/Azores",
]  # clocks that change at midnight


@pytest.mark.parametrize("zone", [ZoneInfo(name) for name in FIXED], ids=str)
def test_a_day_begins_and_ends_at_the_sites_midnight_wherever_the_site_lies(zone):
    offset = zone.utcoffset(datetime(2026, 9, 14))  # noqa: DTZ001 - asks a fixed zone
    start = datetime(2026, 9, 14, tzinfo=UTC) - offset
    assert start_of_day(date(2026, 9, 14), zone) == start
    assert end_of_day(date(2026, 9, 14), zone) == start + timedelta(days=1) - MICROSECOND
    assert late_in_day(date(2026, 9, 14), zone) == start + timedelta(hours=23, minutes=59, seconds=59)


@pytest.mark.parametrize("zone", [ZoneInfo(name) for name in FIXED + SUMMER_TIME + AT_MIDNIGHT], ids=str)
def test_no_moment_of_two_years_is_lost_or_belongs_to_two_days(zone):
    day = date(2026, 1, 1)
    for _one in range(730):
        start, end, after = (
            start_of_day(day, zone),
            end_of_day(day, zone),
            start_of_day(day + timedelta(days=1), zone),
        )
        assert end + MICROSECOND == after
        assert (local_day(start, zone), local_day(end, zone)) == (day, day)
        assert (local_day(start - MICROSECOND, zone), local_day(after, zone)) == (
            day - timedelta(days=1),
            day + timedelta(days=1),
        )
        day += timedelta(days=1)


# The nights of 2026 in two zones whose summers are opposite (tz database 2025b).
@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        ("America/New_York", date(2026, 3, 7), 24),
        ("America/New_York", date(2026, 3, 8), 23),
        ("America/New_York", date(2026, 11, 1), 25),
        ("America/New_York", date(2026, 11, 2), 24),
        ("Australia/Sydney", date(2026, 4, 5), 25),
        ("Australia/Sydney", date(2026, 10, 4), 23),
    ],
)
def test_days_of_the_clock_change_have_23_or_25_hours(zone, day, hours):
    zone = ZoneInfo(zone)
    assert end_of_day(day, zone) + MICROSECOND - start_of_day(day, zone) == timedelta(hours=hours)
    assert end_of_day(day, zone) - late_in_day(day, zone) == timedelta(microseconds=999_999)


def test_the_repeated_hour_of_autumn_belongs_to_one_day():
    zone = ZoneInfo("America/New_York")
    for hour in (5, 6):  # 01:30 summer time, then 01:30 again
        assert local_day(datetime(2026, 11, 1, hour, 30, tzinfo=UTC), zone) == date(2026, 11, 1)


@given(day=st.dates(), zone=st.sampled_from([ZoneInfo(name) for name in ("Etc/GMT+12", "UTC", "Etc/GMT-14")]))
def test_every_day_of_the_calendar_is_answered(day, zone):
    assert FROM_EVER <= start_of_day(day, zone) <= end_of_day(day, zone) <= FOR_EVER
    assert start_of_day(day, zone) <= late_in_day(day, zone) <= FOR_EVER


@pytest.mark.parametrize(
    ("zone", "day", "start", "end"),
    [
        ("Etc/GMT-14", date.min, FROM_EVER, datetime(1, 1, 1, 9, 59, 59, 999_999, tzinfo=UTC)),
        ("Etc/GMT+12", date.max, datetime(9999, 12, 31, 12, tzinfo=UTC), FOR_EVER),
        ("Etc/GMT+12", date(9999, 12, 30), datetime(9999, 12, 30, 12, tzinfo=UTC), None),
    ],
)
def test_the_ends_of_the_calendar(zone, day, start, end):
    zone = ZoneInfo(zone)
    assert start_of_day(day, zone) == start
    assert end_of_day(day, zone) == (end or start_of_day(date.max, zone) - MICROSECOND)


def test_moments_beyond_the_calendar_of_a_zone_are_its_first_or_last_day():
    assert local_day(FOR_EVER, ZoneInfo("Etc/GMT-14")) == date.max
    assert local_day(FROM_EVER, ZoneInfo("Etc/GMT+12")) == date.min
