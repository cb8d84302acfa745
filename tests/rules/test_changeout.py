"""Who is due, and which pair is proposed: each pair once, fitting, first to expire with enough days."""

from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gear.rules.fold import ItemFacts
from gear.rules.pairs import FITTING, Pair, first_to_expire
from gear.rules.readiness import Answer
from gear.rules.whereabouts import Place
from reports.rules.changeout import Worn, change_out, is_due

TODAY = date(2026, 9, 14)
AT_LEISURE = settings(
    deadline=None, suppress_health_check=[HealthCheck.too_slow]
)  # a busy machine is no fault
HARBOUR = Place("Crew 7", "Harbour depot")
FLOOR = 28


def a_pair(
    name, *, left, size="10", gives=None, verdict="good", kind="person", holder="Dev", depot="Harbour depot"
):
    """A pair whose last good day is `left` days ahead; on a shelf it gives `gives` days once issued."""
    day = None if left is None else TODAY + timedelta(days=left)
    pieces = tuple(
        ItemFacts(
            f"{name}-{hand}",
            identity={"kind": "glove", "class": "2", "size": size, "length_mm": 360, "hand": hand},
            set_no=name,
            holder={"kind": kind, "name": holder, "depot": depot},
        )
        for hand in "LR"
    )
    answers = tuple(Answer(one.item_no, "glove", "2", verdict, TODAY, day) for one in pieces)
    return Pair(pieces, answers, TODAY, None if gives is None else TODAY + timedelta(days=gives))


def worn(name, place=HARBOUR, **choices):
    return Worn(a_pair(name, **choices), choices.get("holder", "Dev"), place)


def shelf(name, gives, **choices):
    return a_pair(name, left=gives, gives=gives, kind="shelf", holder="A", **choices)


def listed(found):
    return [row.worn.pair.name for crew in found.crews for row in crew.rows]


def the_list(in_hands, offers=(), **choices):
    return change_out(
        in_hands, list(offers), **{"crews": ["Crew 7"], "within": 14, "floor": FLOOR, **choices}
    )


@pytest.mark.parametrize(
    ("left", "verdict", "due"),
    [
        (15, "good", False),
        (14, "good", True),
        (0, "good", True),
        (-1, "stop", True),
        (-200, "stop", True),
        (100, "stop", True),
        (100, "unknown", True),
        (None, "stop", True),
    ],
)
def test_a_pair_is_due_within_the_window_or_when_it_is_not_good(left, verdict, due):
    assert is_due(a_pair("P", left=left, verdict=verdict), within=14) is due


@given(days=st.lists(st.integers(-30, 60), max_size=8), within=st.integers(0, 40))
@AT_LEISURE
def test_the_rows_are_exactly_those_due_within_the_window(days, within):
    in_hands = [
        worn(f"P-{number}", left=left, verdict="good" if left >= 0 else "stop")
        for number, left in enumerate(days)
    ]
    found = the_list(in_hands, within=within)
    assert sorted(listed(found)) == sorted(
        f"P-{number}" for number, left in enumerate(days) if left <= within
    )
    assert found.idle == (() if listed(found) else ("Crew 7",))


SIZES = st.sampled_from(["9", "10", "11"])


@given(
    wanted=st.lists(st.tuples(st.integers(0, 14), SIZES), max_size=6),
    ready=st.lists(st.tuples(st.integers(0, 200), SIZES), max_size=8),
)
@AT_LEISURE
def test_each_takes_what_is_first_among_what_is_left_and_no_pair_goes_twice(wanted, ready):
    in_hands = [worn(f"P-{n}", left=left, size=size) for n, (left, size) in enumerate(wanted)]
    offers = [shelf(f"S-{n}", gives, size=size) for n, (gives, size) in enumerate(ready)]
    rows = [row for crew in the_list(in_hands, offers).crews for row in crew.rows]
    left = list(offers)
    for row in sorted(rows, key=lambda one: (one.due, one.worn.pair.name)):
        mine = row.worn.pair.identity
        fits = [one for one in left if all(one.identity[name] == mine[name] for name in FITTING)]
        expected = first_to_expire(fits, floor=FLOOR)
        assert row.incoming == (expected[0] if expected else None)
        if row.incoming:
            left.remove(row.incoming)
    proposed = [row.incoming.name for row in rows if row.incoming]
    assert len(set(proposed)) == len(proposed)


@pytest.mark.parametrize("gives", [27, 28])
def test_a_pair_with_too_few_days_is_proposed_to_nobody(gives):
    (crew,) = the_list([worn("P-1", left=3)], [shelf("S-1", gives)]).crews
    assert (crew.rows[0].incoming is None) is (gives < FLOOR)


def test_what_lies_in_the_own_depot_is_proposed_before_what_lies_elsewhere():
    offers = [shelf("S-1", 40, depot="Upper Clay"), shelf("S-2", 90)]
    (crew,) = the_list([worn("P-1", left=3)], offers).crews
    assert crew.rows[0].incoming.name == "S-2"


def test_what_was_replaced_already_is_not_listed_again_but_told():
    found = the_list(
        [worn("P-1", left=-5, verdict="stop"), worn("P-2", left=3)], replaced=["P-1-L", "P-1-R", "X"]
    )
    assert listed(found) == ["P-2"]
    assert found.replaced == ("P-1-L", "P-1-R")


def test_crews_stand_in_the_order_of_their_numbers_and_nobodys_people_last():
    places = [Place(name, "Harbour depot") for name in ("Crew 10", None, "Crew 2")]
    found = the_list(
        [worn(f"P-{n}", place, left=1) for n, place in enumerate(places)],
        crews=["Crew 2", "Crew 10", "Crew 3"],
    )
    assert [crew.place.crew for crew in found.crews] == ["Crew 2", "Crew 10", None]
    assert found.idle == ("Crew 3",)
