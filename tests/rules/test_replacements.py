"""What may stand in for a piece: equal, good today, in nobody's hands, and the nearest first."""

from datetime import date, timedelta

import pytest

from gear.rules import packs, replacing
from gear.rules.fold import ItemFacts
from gear.rules.pairs import Pair
from gear.rules.readiness import Answer

TODAY = date(2026, 11, 28)
PACK = packs.load("us_federal", "1")
TRUCK = {"kind": "truck", "name": "T-07", "crew": "Crew 7", "depot": "Harbour depot"}
DEV = {"kind": "person", "name": "Dev", "crew": "Crew 7", "depot": "Harbour depot"}
SHELF = {"kind": "shelf", "name": "A", "crew": None, "depot": "Harbour depot"}
FAR = {"kind": "shelf", "name": "F", "crew": None, "depot": "Far depot"}
GLOVE = {"kind": "glove", "class": "2", "type": "I", "size": "10", "length_mm": 360}
GROUND = {
    "kind": "grounding_jumper",
    "cable_size": "2/0",
    "cable_length_m": "3",
    "clamp_grade": "5",
    "ferrule_grade": "5",
}


def unit(name, *identities, at=SHELF, verdict="good", days=90, apart=False):
    """Pieces of one set at one place, each with its answer."""
    pieces, answers = [], []
    for place, identity in enumerate(identities):
        item_no = f"{name}-{place}"
        holder = FAR if apart and place else at
        pieces.append(ItemFacts(item_no, identity=identity, holder=holder, set_no=name))
        until = TODAY + timedelta(days=days)
        answers.append(Answer(item_no, identity["kind"], None, verdict, TODAY, good_through=until))
    return Pair(tuple(pieces), tuple(answers), TODAY)


def pair(name, at=SHELF, *, hands="LR", verdict="good", days=90, apart=False, **identity):
    pieces = [{**GLOVE, "hand": hand, **identity} for hand in hands]
    return unit(name, *pieces, at=at, verdict=verdict, days=days, apart=apart)


def grounds(name, count=3, at=SHELF, **identity):
    return unit(name, *[{**GROUND, **identity} for _one in range(count)], at=at)


def names(wanted, offers, *, here=DEV):
    return [one.name for one in replacing.nearest(wanted, offers, here=here, pack=PACK, most=9)]


def test_an_equal_good_pair_on_a_shelf_stands_in():
    assert names(pair("S-1", DEV), [pair("S-2")]) == ["S-2"]


@pytest.mark.parametrize(
    "other",
    [
        {"class": "3"},
        {"size": "11"},
        {"length_mm": 410},
        {"type": "II"},
        {"kind": "sleeve"},
        {"size": None},
    ],
)
def test_what_is_not_equal_does_not(other):
    assert names(pair("S-1", DEV), [pair("S-2", **other)]) == []


def test_the_colour_makes_no_difference():
    assert names(pair("S-1", DEV), [pair("S-2", colour="red")]) == ["S-2"]


@pytest.mark.parametrize("verdict", ["stop", "unknown"])
def test_what_is_not_good_today_is_never_offered(verdict):
    assert names(pair("S-1", DEV), [pair("S-2", verdict=verdict)]) == []


@pytest.mark.parametrize("kind", ["person", "contractor", "lab", "bench"])
def test_what_somebody_has_is_never_offered(kind):
    assert names(pair("S-1", DEV), [pair("S-2", {**SHELF, "kind": kind})]) == []


@pytest.mark.parametrize("kind", ["shelf", "crew", "truck"])
def test_what_lies_somewhere_is(kind):
    assert names(pair("S-1", DEV), [pair("S-2", {**SHELF, "kind": kind})]) == ["S-2"]


def test_half_a_pair_and_a_pair_in_two_places_are_not():
    assert names(pair("S-1", DEV), [pair("S-2", hands="L"), pair("S-3", apart=True)]) == []


def test_a_single_glove_asks_for_a_whole_pair():
    assert names(pair("S-1", DEV, hands="L"), [pair("S-2")]) == ["S-2"]


def test_a_piece_does_not_stand_in_for_itself():
    assert names(pair("S-1", TRUCK), [pair("S-1", TRUCK)]) == []


def test_this_truck_comes_before_this_depot_and_that_before_any_other():
    offers = [pair("S-far", FAR), pair("S-depot", days=300), pair("S-truck", TRUCK, days=200)]
    assert names(pair("S-1", DEV), offers) == ["S-truck", "S-depot", "S-far"]


def test_among_equally_near_ones_the_first_to_expire_comes_first():
    assert names(pair("S-1", DEV), [pair("S-late", days=200), pair("S-soon", days=20)]) == [
        "S-soon",
        "S-late",
    ]


def test_no_more_are_named_than_asked_for():
    offers = [pair(f"S-{number}") for number in range(2, 9)]
    assert len(replacing.nearest(pair("S-1"), offers, here=DEV, pack=PACK)) == replacing.MOST


# Grounds: at least the grade, the length and the number of jumpers


@pytest.mark.parametrize(
    ("offer", "stands"),
    [
        (grounds("S-2"), True),
        (grounds("S-2", cable_size="4/0", clamp_grade="6", ferrule_grade="6"), True),
        (grounds("S-2", clamp_grade="2"), False),
        (grounds("S-2", cable_size="1/0"), False),  # the lowest component decides
        (grounds("S-2", cable_length_m="4.5"), True),
        (grounds("S-2", cable_length_m="2.4"), False),
        (grounds("S-2", count=4), True),
        (grounds("S-2", count=2), False),
        (grounds("S-2", cable_length_m=None), False),
        (grounds("S-2", ferrule_grade=None), False),
        (grounds("S-2", clamp_grade="5H", ferrule_grade="5H"), False),  # the series do not compare
    ],
)
def test_a_grounding_set_must_do_at_least_as_much(offer, stands):
    assert (names(grounds("S-1", at=TRUCK), [offer]) == ["S-2"]) is stands


def test_the_ground_least_above_need_comes_first():
    offers = [grounds("S-6", cable_size="4/0", clamp_grade="6", ferrule_grade="6"), grounds("S-5")]
    assert names(grounds("S-1", at=TRUCK), offers) == ["S-5", "S-6"]


def test_without_a_rule_pack_no_ground_is_offered():
    found = replacing.nearest(grounds("S-1"), [grounds("S-2")], here=TRUCK, pack=None)
    assert found == []
