"""What the readings of a bench session say together: too low, copied, drifting."""

import random
from datetime import date
from decimal import Decimal
from itertools import permutations

import pytest

from gear.rules import packs
from inspections.rules import acceptance, bench_watch
from inspections.rules.acceptance import Expected, Reading, judge
from inspections.rules.bench_watch import DRIFT, Taken, drifts, equal_runs, expected, mann_score

GLOVE = ("glove", "2", "360")
LONGER = ("glove", "2", "406")
PACK = packs.load("us_federal")
CLASS_2 = acceptance.TestedItem("glove", "2", 360)
CABLE = ("grounding_jumper", "2/0", "3.048")


def taken(*readings, group=GLOVE, first=1, **more) -> list[Taken]:
    return [Taken(first + place, group, Decimal(str(one)), **more) for place, one in enumerate(readings)]


# Too low


def test_a_median_is_only_spoken_of_from_five_others_on():
    few = expected(taken(12, 12.2, 12.4, 12.6, 1))
    assert few == {}
    six = expected(taken(12, 12.2, 12.4, 12.6, 12.8, 1))
    assert six[6] == Expected(Decimal("12.4"), 5)


def test_a_reading_is_compared_with_the_others_and_never_with_itself():
    found = expected(taken(1, 12, 12, 12, 12, 12))
    assert found[1] == Expected(Decimal(12), 5)
    assert found[2] == Expected(Decimal(12), 5)


def test_another_length_is_another_median():
    both = taken(12, 12, 12, 12, 12, 12) + taken(15, 15, 15, 15, 15, 15, group=LONGER, first=7)
    found = expected(both)
    assert {found[place].leakage_ma for place in range(1, 7)} == {Decimal(12)}
    assert {found[place].leakage_ma for place in range(7, 13)} == {Decimal(15)}


def test_zero_readings_make_no_median():
    assert expected(taken(0, 0, 0, 0, 0, 0)) == {}


def test_without_a_session_to_compare_with_the_item_itself_is_the_measure():
    found = expected(taken(12, earlier_ma=Decimal(11)))
    assert found == {1: Expected(Decimal(11))}
    assert expected(taken(12)) == {}


def test_where_all_readings_are_low_alike_each_item_tells_what_it_read_before():
    """An empty tank: the median of the session is as low as every reading in it."""
    found = expected(taken(0.3, 0.3, 0.31, 0.29, 0.3, 0.3, earlier_ma=Decimal(12)))
    assert set(found.values()) == {Expected(Decimal(12))}
    higher = expected(taken(12, 12, 12, 12, 12, 12, earlier_ma=Decimal(8)))
    assert set(higher.values()) == {Expected(Decimal(12), 5)}


def test_the_resistance_of_jumpers_is_not_compared():
    assert expected(taken(1, 1, 1, 1, 1, 0.1, group=CABLE)) == {}


# Common practice, no source: below 40 % of what was to be expected
@pytest.mark.parametrize(
    ("reading", "outcome"), [("4.8", "accepted"), ("4.799", "void"), ("0.001", "void"), ("16.1", "failed")]
)
@pytest.mark.parametrize(("count", "code"), [(5, "LOW_FOR_SESSION"), (0, "LOW_FOR_ITEM")])
def test_below_forty_per_cent_nothing_is_accepted_and_nothing_failed(reading, outcome, count, code):
    stated = Reading(date(2026, 3, 2), "in_service", "ac", 20_000, 60, Decimal(reading), visual="accept",
                     expected=Expected(Decimal(12), count))  # fmt: skip
    found = judge(stated, CLASS_2, PACK)
    assert found.outcome == outcome
    assert ([one.code for one in found.codes] == [code]) is (outcome == "void")


def test_on_dc_a_current_near_zero_is_as_it_should_be():
    stated = Reading(date(2026, 3, 2), "in_service", "dc", 50_000, 60, Decimal("0.01"), visual="accept",
                     expected=Expected(Decimal(12), 5))  # fmt: skip
    assert judge(stated, CLASS_2, PACK).outcome == "accepted"


# Copied


@pytest.mark.parametrize(
    ("readings", "positions"),
    [
        ([12.5] * 4, []),
        ([12.5] * 5, [(1, 2, 3, 4, 5)]),
        ([12.4] + [12.5] * 6, [(2, 3, 4, 5, 6, 7)]),
        ([12.5] * 4 + [12.4] + [12.5] * 4, []),
        ([0] * 6, []),
    ],
)
def test_five_equal_readings_in_a_row_are_a_run(readings, positions):
    assert [run.positions for run in equal_runs(taken(*readings))] == positions


def test_a_run_goes_on_over_another_length():
    both = taken(12.5, 12.5, 12.5) + taken(12.5, 12.5, group=LONGER, first=4)
    assert [run.positions for run in equal_runs(both)] == [(1, 2, 3, 4, 5)]


def test_equal_milliamperes_and_milliohms_are_no_run():
    both = taken(1.2, 1.2, 1.2) + taken(1.2, 1.2, group=CABLE, first=4)
    assert equal_runs(both) == []


def test_what_was_confirmed_is_no_run_and_the_next_begins_anew():
    confirmed = taken(*[12.5] * 5, checked=True)
    assert equal_runs(confirmed) == []
    assert equal_runs(confirmed + taken(*[12.5] * 4, first=6)) == []
    assert [run.positions for run in equal_runs(confirmed + taken(*[12.5] * 5, first=6))] == [
        (6, 7, 8, 9, 10)
    ]


# Drifting


def test_a_slow_climb_shows_by_the_tenth_glove():
    climb = ["11.8", "12.0", "11.9", "12.2", "12.3", "12.2", "12.5", "12.6", "12.8", "12.9"]
    assert drifts(taken(*climb[:9])) == []
    (found,) = drifts(taken(*climb))
    assert (found.rises, found.count, found.first.position, found.last.value) == (
        True,
        10,
        1,
        Decimal("12.9"),
    )
    (falling,) = drifts(taken(*reversed(climb)))
    assert not falling.rises


def test_a_climb_is_seen_within_one_length_though_others_lie_between():
    mixed = []
    for place in range(20):
        group, value = (GLOVE, 12 + place * 0.1) if place % 2 else (LONGER, 15 + (place % 4) * 0.2)
        mixed += taken(round(value, 1), group=group, first=place + 1)
    assert [found.group for found in drifts(mixed)] == [GLOVE]


def test_readings_as_gloves_give_them_are_quiet():
    """50 sessions of 60 sound gloves, looked at after each: the alarm rings in few, or nobody would believe it."""
    chance = random.Random(1910)
    rung = 0
    for _session in range(50):
        readings = taken(*[round(chance.gauss(12, 0.5), 1) for _one in range(60)])
        rung += any(drifts(readings[:count]) for count in range(10, 61))
    assert rung <= 3


def test_the_score_from_which_ten_readings_drift_is_that_of_one_order_in_a_thousand():
    """Counted over all orders: pairs out of order are distributed as by the recursion over where the largest stands."""
    ways = {0: 1}
    for size in range(2, 11):
        ways = {
            total: sum(ways.get(total - moved, 0) for moved in range(size))
            for total in range(size * (size - 1) // 2 + 1)
        }
    pairs, orders = 45, sum(ways.values())
    beyond = 2 * sum(count for inversions, count in ways.items() if pairs - 2 * inversions >= DRIFT[10])
    assert orders // beyond == 1056


def test_the_score_from_which_forty_readings_drift_is_three_and_a_half_deviations():
    """Mann 1945: the variance of the score is n (n - 1) (2 n + 5) / 18."""
    deviation = (40 * 39 * 85 / 18) ** 0.5
    assert (DRIFT[40] - 1) / deviation > 3.5 > (DRIFT[40] - 3) / deviation


def test_the_score_counts_pairs():
    for order in permutations(range(4)):
        by_hand = sum(1 if order[j] > order[i] else -1 for i in range(4) for j in range(4) if i < j)
        assert mann_score([Decimal(one) for one in order]) == by_hand
    assert mann_score([Decimal(1)] * 5) == 0


def test_the_numbers_are_those_that_the_pages_tell():
    assert (bench_watch.LEAST_READINGS, bench_watch.EQUAL_READINGS) == (5, 5)
