"""An exception is a note: it stands until its last day or until a second entry closes it, for whom it concerns."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from gear.rules.whereabouts import Place
from reports.rules.exceptions import Noted, standing
from reports.rules.overdue import Scope

MONDAY = date(2026, 9, 14)
NOW = datetime(2026, 9, 14, 9, 40, tzinfo=UTC)
STORM = Noted(
    "1",
    "crew",
    "Crew 7",
    Place("Crew 7", "Harbour depot"),
    "Storm week",
    "The lab is under water.",
    date(2026, 9, 10),
    date(2026, 9, 18),
    "Ines",
    "Ines",
    datetime(2026, 9, 10, 12, tzinfo=UTC),
)


def shown(one, *, on=MONDAY, at=NOW, scope=None):
    return bool(standing([one], on=on, at=at, scope=scope or Scope()))


@pytest.mark.parametrize(
    ("on", "stands"),
    [
        (date(2026, 9, 9), False),
        (date(2026, 9, 10), True),
        (date(2026, 9, 18), True),
        (date(2026, 9, 19), False),
    ],
)
def test_it_ends_by_itself_with_its_last_day(on, stands):
    assert shown(STORM, on=on, at=NOW + timedelta(days=9)) is stands


def test_a_second_entry_closes_it_from_its_moment_on():
    closed = replace(STORM, closed_at=NOW - timedelta(hours=1))
    assert not shown(closed)
    assert shown(closed, at=NOW - timedelta(hours=2))  # as was known then


def test_nobody_knew_of_it_before_it_was_noted():
    assert not shown(STORM, on=date(2026, 9, 10), at=datetime(2026, 9, 10, 11, tzinfo=UTC))


@pytest.mark.parametrize(
    ("scope", "stands"),
    [
        (Scope(), True),
        (Scope("crew", "Crew 7"), True),
        (Scope("crew", "Crew 9"), False),
        (Scope("depot", "Harbour depot"), True),
        (Scope("crew", None), False),
    ],
)
def test_it_is_shown_to_whom_it_concerns(scope, stands):
    assert shown(STORM, scope=scope) is stands
    assert shown(replace(STORM, about="all", place=Place()), scope=scope)


def test_the_first_to_end_stands_first():
    later = replace(STORM, name="Another", ends_on=date(2026, 9, 30))
    assert [one.name for one in standing([later, STORM], on=MONDAY, at=NOW, scope=Scope())] == [
        "Storm week",
        "Another",
    ]
