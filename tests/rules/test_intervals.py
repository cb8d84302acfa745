"""Shares with their intervals against the published worked figures and against scipy."""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from reports.rules.intervals import Share, against_the_rest, clopper_pearson, fisher, holm


@pytest.mark.parametrize(
    ("count", "of", "exact", "shown"),
    [
        (0, 12, (0.0, 26.5), (0.0, 24.2)),
        (0, 20, (0.0, 16.8), (0.0, 16.1)),
        (1, 14, (0.2, 33.9), (1.3, 31.5)),
        (3, 40, (1.6, 20.4), (2.6, 19.9)),
        (11, 400, (1.4, 4.9), (1.5, 4.9)),
    ],
)
def test_the_worked_figures(count, of, exact, shown):
    share = Share(count, of)
    assert tuple(round(end, 1) for end in share.worst) == exact
    assert tuple(round(end, 1) for end in share.shown) == shown


def test_two_models_differ_as_worked_out():
    found = fisher(6, 40, 3, 120)
    assert round(found.odds_ratio, 2) == 6.88
    assert round(found.p, 4) == 0.0081


proportion = st.integers(1, 600).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of)))


@given(proportion)
def test_both_intervals_are_those_of_scipy(pair):
    count, of = pair
    tested = stats.binomtest(count, of)
    for mine, method in ((Share(count, of).worst, "exact"), (Share(count, of).shown, "wilson")):
        theirs = tested.proportion_ci(method=method)
        assert mine == pytest.approx((100 * theirs.low, 100 * theirs.high), abs=1e-7)


@pytest.mark.parametrize(
    ("count", "of"), [(0, 20000), (17, 20000), (10_000, 20_000), (20_000, 20_000), (1, 1)]
)
def test_the_exact_interval_of_many_is_that_of_scipy(count, of):
    theirs = stats.binomtest(count, of).proportion_ci(method="exact")
    assert clopper_pearson(count, of) == pytest.approx((100 * theirs.low, 100 * theirs.high), abs=1e-6)


small = st.integers(0, 60).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of)))


@given(small, small)
def test_fishers_test_is_that_of_scipy(one, other):
    (k, n), (l, m) = one, other  # noqa: E741
    found = fisher(k, n, l, m)
    theirs = stats.fisher_exact([[k, n - k], [l, m - l]])
    assert found.p == pytest.approx(theirs.pvalue, rel=1e-9)
    if found.odds_ratio is not None and n and m:
        assert found.odds_ratio == pytest.approx(theirs.statistic)


@given(st.lists(st.floats(0, 1), max_size=12))
def test_holm_never_calls_more_than_bonferroni_would_miss(ps):
    """By its definition: the smallest is multiplied by all, the next by one fewer, and none overtakes another."""
    adjusted = holm(ps)
    ordered = sorted(ps)
    for p, corrected in zip(ps, adjusted, strict=True):
        expected = max(min(1.0, (len(ps) - rank) * one) for rank, one in enumerate(ordered) if one <= p)
        assert corrected == pytest.approx(expected)


def test_a_share_of_fewer_than_30_is_never_a_bare_per_cent():
    assert Share(0, 29).percent is None
    assert Share(15, 30).percent == 50
    assert Share(0, 0).shown is Share(0, 0).worst is None


@pytest.mark.parametrize(("count", "of"), [(-1, 3), (4, 3), (0, 0)])
def test_what_is_no_proportion_has_no_interval(count, of):
    with pytest.raises(ValueError, match="no proportion"):
        clopper_pearson(count, of)


def test_an_odds_ratio_without_a_denominator():
    assert fisher(1, 5, 0, 5).odds_ratio == inf
    assert fisher(0, 5, 0, 5).odds_ratio is None


def test_a_part_larger_than_its_whole_is_refused():
    with pytest.raises(ValueError, match="larger than its whole"):
        fisher(3, 2, 0, 5)


def test_a_group_differs_only_after_all_groups_were_allowed_for():
    """6 of 40 against 3 of 120: p 0.0081. Alone it differs; among nine groups it does not."""
    alone = {one.name: one for one in against_the_rest({"A": (6, 40), "B": (3, 120)})}
    assert alone["A"].differs
    assert round(alone["A"].p, 4) == round(2 * 0.00809, 4)
    many = {"A": (6, 40)} | {f"B{number}": (0, 15) for number in range(7)} | {"C": (3, 15)}
    among = {one.name: one for one in against_the_rest(many)}
    assert not among["A"].differs


def test_groups_stand_in_order_of_name_and_an_empty_one_is_left_out():
    assert [one.name for one in against_the_rest({"B": (0, 3), "A": (1, 4), "C": (0, 0)})] == ["A", "B"]
    (only,) = against_the_rest({"A": (5, 40)})
    assert not only.differs
