"""Counts of places are counts of entries; shares come with their interval, and not of a few."""

import pytest

from gear.rules.patterns import ENOUGH, SHADES, Finding, Spot, counted, shade, share, spots_of, wilson


def finding(entry, place, *words):
    return Finding(str(entry), "G-1", words, place)


def table(kind, *findings):
    return {
        (one.spot.side, one.spot.part): (one.count, {word: len(entries) for word, entries in one.words})
        for one in counted(kind, findings)
    }


def test_every_entry_counts_once_at_each_place_and_under_each_word_that_it_names():
    told = table(
        "glove",
        finding(1, "outside:finger_3,palm", "cut", "nick"),
        finding(2, "outside:palm", "cut"),
        finding(3, "inside:palm", "hole"),
        finding(4, "palm"),
        finding(5, "", "dirt"),
    )
    assert told == {
        ("outside", "finger_3"): (1, {"cut": 1, "nick": 1}),
        ("outside", "palm"): (2, {"cut": 2, "nick": 1}),
        ("inside", "palm"): (1, {"hole": 1}),
        ("", "palm"): (1, {"": 1}),
        ("", ""): (1, {"dirt": 1}),
    }


def test_the_order_is_that_of_the_parts_and_sides_and_no_place_comes_last():
    told = counted(
        "glove", [finding(n, place) for n, place in enumerate(("", "cuff", "inside:palm", "outside:palm"))]
    )
    assert [(one.spot.part, one.spot.side) for one in told] == [
        ("palm", "outside"),
        ("palm", "inside"),
        ("cuff", ""),
        ("", ""),
    ]


@pytest.mark.parametrize("place", ["", "eyelet", "middle:palm", "palm,palm", "square_5"])
def test_what_is_no_place_of_the_kind_counts_as_none_said(place):
    assert spots_of("glove", place) == (Spot("", ""),)


def test_the_most_is_darkest_and_nothing_is_blank():
    assert [shade(count, 8) for count in (0, 1, 2, 3, 5, 8)] == [0, 1, 1, 2, 3, SHADES]
    assert shade(0, 0) == 0


# Worked by hand from the formula, and the same as scipy.stats.binomtest(k, n).proportion_ci(method="wilson").
@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [(0, 12, 0, 24.2), (0, 20, 0, 16.1), (1, 14, 1.3, 31.5), (3, 40, 2.6, 19.9), (11, 400, 1.5, 4.9)],
)
def test_the_interval_is_that_of_the_books(count, of, low, high):
    assert wilson(count, of) == pytest.approx((low, high), abs=0.06)


def test_of_a_few_no_share_is_told():
    assert share(10, ENOUGH - 1) is None
    assert share(3, 40) == pytest.approx((7.5, 2.6, 19.9), abs=0.06)
