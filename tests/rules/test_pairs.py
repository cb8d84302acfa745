"""Which pair goes out first, which single gloves make the best pairs: held against trying everything."""

from datetime import date, timedelta
from itertools import combinations, permutations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gear.rules.fold import Happening, ItemFacts
from gear.rules.pairs import Pair, Single, best_matings, first_to_expire, is_odd

TODAY = date(2026, 9, 14)
AT_LEISURE = settings(
    deadline=None, suppress_health_check=[HealthCheck.too_slow]
)  # a busy machine is no fault


def glove(item_no, hand="L", **facts):
    return ItemFacts(item_no, identity={"kind": "glove", "class": "2", "hand": hand}, **facts)


def offered(name, days, depot="Harbour depot"):
    shelf = {"kind": "shelf", "name": "A", "depot": depot}
    pieces = tuple(glove(f"{name}{hand}", hand, set_no=name, holder=shelf) for hand in "LR")
    gives = None if days is None else TODAY + timedelta(days=days)
    return Pair(pieces, (), TODAY, gives)


# First to expire with a floor


def by_trying(offers, floor):
    """The next pair to hand out, again and again, by looking at every one that is left."""
    left, order = [one for one in offers if one.days is None or one.days >= floor], []
    while left:
        for one in left:
            if all(
                (one.gives or date.max, one.name) <= (other.gives or date.max, other.name) for other in left
            ):
                order.append(one)
                left.remove(one)
                break
    return order


@given(
    days=st.lists(st.none() | st.integers(0, 200), max_size=12),
    floor=st.sampled_from([0, 1, 9, 28, 90, 200]),
)
@AT_LEISURE
def test_the_order_is_first_to_expire_that_still_gives_enough(days, floor):
    offers = [offered(f"P-{number}", one) for number, one in enumerate(days)]
    assert first_to_expire(offers, floor=floor) == by_trying(offers, floor)


@pytest.mark.parametrize(
    ("floor", "first"), [(0, "P-9"), (9, "P-9"), (10, "P-28"), (28, "P-28"), (29, "P-60")]
)
def test_the_floor_itself_is_enough(floor, first):
    offers = [offered(f"P-{days}", days) for days in (60, 9, 28)]
    assert first_to_expire(offers, floor=floor)[0].name == first


def test_what_lies_in_the_named_depot_comes_first():
    offers = [offered("P-1", 40, depot="Upper Clay"), offered("P-2", 90)]
    assert [one.name for one in first_to_expire(offers, floor=28, depot="Harbour depot")] == ["P-2", "P-1"]
    assert [one.name for one in first_to_expire(offers, floor=28)] == ["P-1", "P-2"]


# Matings


def single(number, hand, days, group=("glove",)):
    return Single(f"G-{number:02d}", hand, TODAY + timedelta(days=days), group)


def joint(pairs):
    """Days that the pairs give together: each as long as its shorter hand."""
    return sum((min(left.gives, right.gives) - TODAY).days for left, right in pairs)


def best_by_trying(singles):
    """(pairs, days) of the best choice among all: every set of lefts with every order of rights."""
    lefts = [one for one in singles if one.hand == "L"]
    rights = [one for one in singles if one.hand == "R"]
    count = min(len(lefts), len(rights))
    return count, max(
        joint(zip(chosen, order, strict=True))
        for chosen in combinations(lefts, count)
        for order in permutations(rights, count)
    )


@given(days=st.lists(st.integers(0, 365), min_size=12, max_size=12), lefts=st.integers(5, 7))
@AT_LEISURE
def test_twelve_single_gloves_make_as_many_pairs_and_days_as_any_choice_could(days, lefts):
    singles = [single(n, "L" if n < lefts else "R", one) for n, one in enumerate(days)]
    made = best_matings(singles)
    assert (len(made), joint(made)) == best_by_trying(singles)
    used = [one.item_no for both in made for one in both]
    assert len(set(used)) == len(used)
    assert all((left.hand, right.hand) == ("L", "R") for left, right in made)


def test_nothing_is_mated_across_groups():
    singles = [single(1, "L", 50, ("10",)), single(2, "R", 50, ("11",)), single(3, "R", 20, ("10",))]
    assert [(left.item_no, right.item_no) for left, right in best_matings(singles)] == [("G-01", "G-03")]


def test_a_hand_without_its_opposite_makes_no_pair():
    assert best_matings([single(1, "L", 50), single(2, "L", 60)]) == []


# Odd


def gone(name):
    return {name: Happening(name, TODAY, "e")}


@pytest.mark.parametrize(
    ("own", "mates", "odd"),
    [
        ({}, [], True),
        ({}, [{}], False),
        ({}, [gone("rejected")], True),
        ({}, [gone("destroyed")], True),
        ({}, [gone("lost")], True),
        ({}, [gone("failed")], True),
        ({}, [gone("damaged")], True),
        ({}, [gone("out_for_test")], False),
        ({}, [gone("needs_cleaning")], False),
        ({}, [{"holds": [Happening("held", TODAY, "e")]}], False),
        (gone("rejected"), [], False),
        (gone("lost"), [], False),
        (gone("needs_cleaning"), [], True),
    ],
    ids=str,
)
def test_a_glove_is_odd_once_its_mate_can_never_be_one_again(own, mates, odd):
    assert is_odd(glove("G-1", **own), [glove("G-2", "R", **mate) for mate in mates]) is odd


def test_a_blanket_is_never_odd_and_two_lefts_are_no_mates():
    assert not is_odd(ItemFacts("B-1", identity={"kind": "blanket"}), [])
    assert is_odd(glove("G-1"), [glove("G-2", "L")])
