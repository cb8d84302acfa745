"""In calibration or not, by the calibration that was in force on the day of the test."""

from datetime import date

import pytest

from inspections.rules.calibration import Calibration, History, in_force, standing, worst

FIRST = Calibration(date(2026, 1, 10), date(2026, 6, 30))
LATE = Calibration(date(2026, 8, 3), date(2027, 2, 2))
METER = History((FIRST, LATE))


# A meter recalibrated late does not make the gap valid
@pytest.mark.parametrize(
    ("day", "says"),
    [
        (date(2026, 1, 9), "not_on_file"),
        (date(2026, 1, 10), "on_file"),
        (date(2026, 6, 30), "on_file"),
        (date(2026, 7, 1), "expired"),
        (date(2026, 8, 2), "expired"),
        (date(2026, 8, 3), "on_file"),
        (date(2027, 2, 2), "on_file"),
        (date(2027, 2, 3), "expired"),
    ],
)
def test_a_test_is_judged_by_the_calibration_then_in_force(day, says):
    assert standing(METER, day) == says


@pytest.mark.parametrize(
    ("day", "says"),
    [
        (date(2025, 12, 31), "on_file"),
        (date(2026, 1, 1), "expired"),
        (date(2026, 1, 9), "expired"),
        (date(2026, 1, 10), "on_file"),
        (date(2026, 7, 1), "expired"),
    ],
)
def test_a_due_date_that_was_brought_in_speaks_for_the_days_before_the_first_calibration(day, says):
    assert standing(History((FIRST,), brought_in=date(2025, 12, 31)), day) == says


def test_nothing_on_file_says_nothing():
    assert standing(History(), date(2026, 3, 2)) == "not_on_file"
    assert (History().due_on, History().out_of_use) == (None, False)


def test_a_shorter_calibration_counts_even_where_an_older_one_ran_longer():
    shorter = Calibration(date(2026, 3, 1), date(2026, 3, 31))
    meter = History((FIRST, shorter))
    assert standing(meter, date(2026, 4, 1)) == "expired"
    assert standing(meter, date(2026, 2, 28)) == "on_file"
    assert meter.due_on == date(2026, 3, 31)


def test_of_two_on_one_day_the_one_entered_last_counts():
    again = Calibration(FIRST.on, date(2026, 3, 31))
    assert in_force(History((FIRST, again)), FIRST.on) == again


def test_an_instrument_that_was_not_given_back_voids_from_that_day_on():
    broken = History((FIRST, Calibration(date(2026, 5, 1), None, in_tolerance=False)))
    assert broken.out_of_use
    assert broken.due_on is None
    assert standing(broken, date(2026, 4, 30)) == "on_file"
    assert standing(broken, date(2026, 5, 1)) == "expired"


@pytest.mark.parametrize(
    ("standings", "says"),
    [
        ([], "not_stated"),
        (["not_on_file"], "not_on_file"),
        (["not_on_file", "on_file"], "on_file"),
        (["on_file", "expired"], "expired"),
        (["expired", "not_on_file"], "expired"),
    ],
)
def test_one_expired_name_outweighs_the_others(standings, says):
    assert worst(standings) == says


@pytest.mark.parametrize(
    ("calibration", "good"),
    [
        (Calibration(FIRST.on, FIRST.good_through, in_tolerance=True), True),
        (
            Calibration(FIRST.on, FIRST.good_through, in_tolerance=False),
            True,
        ),  # put right, and right from then on
        (Calibration(FIRST.on, None, in_tolerance=True), True),  # right when it was taken out of use
        (Calibration(FIRST.on, None, in_tolerance=False), False),
    ],
)
def test_known_good_is_as_it_was_found_or_as_it_was_left(calibration, good):
    assert calibration.left_good is good
