"""Audit samples: the draw that anybody can repeat, and what it proves."""

import hashlib
from fractions import Fraction
from itertools import product
from math import comb

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.rules import sampling
from reports.rules.sampling import Bounds, Member, Stratum, bounds, draw, most_by_strata, shares

FIVE_PERCENT = Fraction(5, 100)


@pytest.mark.parametrize(
    ("population", "share", "bad", "size"),
    [(3500, Fraction(1, 100), 35, 286), (3500, Fraction(3, 100), 105, 97), (300, Fraction(3, 100), 9, 84)],
)
def test_the_sizes_that_were_worked_out_beforehand(population, share, bad, size):
    assert sampling.bad_in(population, share) == bad
    assert sampling.size_to_catch_one(population, bad) == size
    assert bounds(population=population, size=size, found=0).most == bad - 1
    assert bounds(population=population, size=size - 1, found=0).most >= bad


@given(st.integers(1, 400), st.data())
def test_the_size_is_the_smallest_that_is_enough(population, data):
    bad = data.draw(st.integers(1, population))
    size = sampling.size_to_catch_one(population, bad)
    assert sampling.chance_of_none(population, bad, size) <= FIVE_PERCENT
    assert sampling.chance_of_none(population, bad, size - 1) > FIVE_PERCENT


@given(st.integers(1, 60), st.data())
def test_the_chance_of_none_is_that_of_counting_the_ways(population, data):
    bad, size = (data.draw(st.integers(0, population)) for _one in range(2))
    counted = Fraction(comb(population - bad, size), comb(population, size))
    assert sampling.chance_of_none(population, bad, size) == counted


@given(st.integers(1, 60), st.data())
def test_bounds_are_those_of_trying_every_number_of_bad_pieces(population, data):
    size = data.draw(st.integers(1, population))
    found = data.draw(st.integers(0, size))
    error = FIVE_PERCENT if found == 0 else FIVE_PERCENT / 2

    def chance(seen, bad):
        return Fraction(comb(bad, seen) * comb(population - bad, size - seen), comb(population, size))

    possible = [
        bad
        for bad in range(found, population - (size - found) + 1)
        if sum(chance(seen, bad) for seen in range(found + 1)) > error
        and (found == 0 or sum(chance(seen, bad) for seen in range(found, size + 1)) > error)
    ]
    assert bounds(population=population, size=size, found=found) == Bounds(min(possible), max(possible))


def test_figures_agree_with_a_library_of_statistics():
    from scipy import stats

    for population, bad, size in product((30, 300, 3500), (1, 9, 25), (1, 12, 29)):
        known = stats.hypergeom(population, bad, size)
        for found in (0, 1, 3):
            ours = sampling.chance_of_at_most(found, population=population, bad=bad, size=size)
            assert float(ours) == pytest.approx(known.cdf(found), abs=1e-9)


def test_everything_looked_at_leaves_no_doubt():
    assert bounds(population=40, size=40, found=0) == Bounds(0, 0)
    assert bounds(population=40, size=40, found=7) == Bounds(7, 7)


def test_the_draw_is_the_smallest_hashes_of_start_number_and_item_number():
    numbers = [f"G-{one:05d}" for one in range(300)]
    by_hand = sorted(numbers, key=lambda no: hashlib.sha256(f"40711:{no}".encode()).hexdigest())[:84]
    drawn = draw([Member(no) for no in numbers], size=84, start="40711")
    assert [one.item_no for one in drawn.pieces] == sorted(by_hand)
    assert drawn.strata == (Stratum("", 300, 84),)
    again = draw([Member(no) for no in reversed(numbers)], size=84, start="40711")
    assert again == drawn
    other = draw([Member(no) for no in numbers], size=84, start="40712")
    assert other.pieces != drawn.pieces


@given(st.dictionaries(st.text("abc", max_size=3), st.integers(1, 50), min_size=1, max_size=8), st.data())
def test_shares_add_up_give_each_stratum_one_and_stay_near_proportion(counts, data):
    size = data.draw(st.integers(len(counts), sum(counts.values())))
    given_to = shares(counts, size)
    assert sum(given_to.values()) == size
    assert all(1 <= given_to[name] <= counts[name] for name in counts)
    exact = {name: Fraction(size * count, sum(counts.values())) for name, count in counts.items()}
    if all(share >= 1 for share in exact.values()):
        assert all(abs(given_to[name] - exact[name]) < 1 for name in counts)


@pytest.mark.parametrize("size", [0, 1, 11])
def test_too_few_for_the_strata_or_more_than_there_are_is_refused(size):
    with pytest.raises(ValueError, match="cannot be drawn"):
        shares({"A": 4, "B": 6}, size)


@given(st.lists(st.tuples(st.integers(1, 8), st.integers(1, 8)), min_size=1, max_size=3))
def test_what_strata_may_hide_together_is_that_of_trying_every_spread(sizes):
    strata = [
        Stratum(str(at), max(one), min(one)) for at, one in enumerate(sizes)
    ]  # fmt: skip
    hidden = 0
    for spread in product(*(range(one.population - one.size + 1) for one in strata)):
        chance = Fraction(1)
        for one, bad in zip(strata, spread, strict=True):
            chance *= sampling.chance_of_none(one.population, bad, one.size)
        if chance > FIVE_PERCENT:
            hidden = max(hidden, sum(spread))
    assert most_by_strata(strata, {}) == hidden


def test_strata_with_findings_are_never_bounded_below_what_each_may_hold():
    strata = [Stratum("A", 100, 20), Stratum("B", 200, 40)]
    most = most_by_strata(strata, {"A": 1})
    assert (
        most >= bounds(population=100, size=20, found=1).most + bounds(population=200, size=40, found=0).most
    )
    assert most_by_strata([Stratum("", 300, 84)], {}) == bounds(population=300, size=84, found=0).most == 8
