"""Whoever accepts at the tool room must be qualified: on the day of the test, and on the day it is put on record."""

from dataclasses import replace
from datetime import timedelta

import pytest

from gear.actions.acting import Act, Refused
from inspections.actions.bench_posting import preview
from inspections.actions.testing import log_test
from inspections.rules.acceptance import Reading
from tests import builders
from tests.inspections.bench_day import day, in_service, qualified, typed

pytestmark = pytest.mark.django_db


def sound(*, on) -> Reading:
    return Reading(on, "in_service", "ac", 40_000, 60, visual="accept", breakdown=False, flashover=False)


@pytest.mark.parametrize(
    ("tested", "until", "may"),
    [
        (0, None, True),  # nobody's qualification is on file
        (0, 30, True),
        (0, 0, True),
        (0, -1, False),
        (-5, -1, False),  # valid on the day of the test, run out when it is entered
        (-5, -6, False),
        (-400, 30, False),  # not yet begun on the day of the test
    ],
)
def test_a_test_is_accepted_by_whoever_was_qualified_then_and_is_now(cast, tested, until, may):
    today = builders.today()
    if until is not None:
        qualified(cast.orla, until=today + timedelta(days=until))
    blanket, reading = builders.blanket("B-1"), sound(on=today + timedelta(days=tested))
    if may:
        assert log_test(blanket, reading, act=Act(cast.orla))[1].outcome == "accepted"
    else:
        with pytest.raises(Refused) as refused:
            log_test(blanket, reading, act=Act(cast.orla))
        assert refused.value.code == "QUALIFICATION_EXPIRED"


def test_whoever_is_not_qualified_any_more_may_still_reject(cast):
    qualified(cast.orla, until=builders.today() - timedelta(days=1))
    failed = replace(sound(on=builders.today()), breakdown=True)
    assert log_test(builders.blanket("B-1"), failed, act=Act(cast.orla))[1].outcome == "failed"


def test_a_report_of_a_lab_is_entered_by_whoever_is_clerk(cast):
    """It was the lab's people who looked."""
    qualified(cast.orla, until=builders.today() - timedelta(days=1))
    _row, judged = log_test(
        builders.blanket("B-1"), sound(on=builders.today()), act=Act(cast.orla), lab="Bay lab", report_no="7"
    )
    assert judged.outcome == "accepted"


def test_a_session_of_yesterday_cannot_be_accepted_by_whoever_is_not_qualified_today(cast):
    yesterday = builders.today() - timedelta(days=1)
    qualified(cast.orla, until=yesterday)
    session, (glove,) = day(cast.orla, tested_on=yesterday), in_service()
    typed(session, glove, by=cast.orla)
    assert [one.code for one in preview(session, act=Act(cast.orla)).left_out] == ["POSTER_NOT_QUALIFIED"]
