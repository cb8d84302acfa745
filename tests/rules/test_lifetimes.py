"""How long pieces lasted: the published remission times, a case by hand, and scipy."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from reports.rules.lifetimes import curve, median

# Remission in weeks under 6-mercaptopurine (Freireich and others 1963; in many textbooks); True: relapsed.
REMISSION = [
    *((time, True) for time in (6, 6, 6, 7, 10, 13, 16, 22, 23)),
    *((time, False) for time in (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)),
]
PUBLISHED = {6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448}


def test_the_published_remission_curve_and_its_median():
    steps = curve(REMISSION)
    assert {step.time: round(step.share, 3) for step in steps} == PUBLISHED
    assert median(steps).time == 23


def test_four_gloves_by_hand():
    """One ends at 10; one is only seen until 15; of the two left one ends at 20: 3/4, then 3/4 x 1/2."""
    steps = curve([(10, True), (15, False), (20, True), (30, False)])
    assert [(step.time, step.share) for step in steps] == [(10, 0.75), (20, 0.375)]
    assert median(steps).time == 20


def test_where_fewer_than_half_ended_there_is_no_median():
    found = median(curve([(10, True), (20, False), (20, False)]))
    assert found.time is None


def test_of_no_lives_nothing_is_said():
    assert (curve([]), median([]).time) == ([], None)


@given(st.lists(st.tuples(st.integers(1, 50), st.booleans()), min_size=1, max_size=60))
def test_the_curve_is_that_of_scipy(lives):
    ends = [time for time, over in lives if over]
    seen = [time for time, over in lives if not over]
    steps = curve(lives)
    if not ends:
        assert steps == []
        return
    theirs = stats.ecdf(stats.CensoredData(uncensored=ends, right=seen)).sf
    for step in steps:
        assert step.share == pytest.approx(float(theirs.evaluate(step.time)), abs=1e-9)
