"""The rules of a carton, without a database."""

import pytest

from inspections.rules import shipping


@pytest.mark.parametrize(
    ("taken", "number"),
    [
        ([], "L-0001"),
        (["L-0001"], "L-0002"),
        (["L-0009", "L-0003"], "L-0010"),
        (["L-9999"], "L-10000"),
        (["old 7"], "L-0001"),
    ],
)
def test_numbers_go_on_from_the_highest(taken, number):
    assert shipping.next_number(taken) == number


EARLIER = ("passed", "rejected_returned", "rejected_destroyed", "missing", "identity_differs")
ANY_LINE = {(a, b): None for a in EARLIER for b in EARLIER if a != b}
MAY_FOLLOW = {
    **dict.fromkeys(ANY_LINE, (None, None)),
    **{(one, one): ("SAME_OUTCOME", "SAME_OUTCOME") for one in EARLIER},
    **{(one, "withdrawn"): (None, "SHIPMENT_CLOSED") for one in EARLIER},
    **{(one, "extra"): ("NO_SUCH_OUTCOME", "NO_SUCH_OUTCOME") for one in (*EARLIER, "extra", "withdrawn")},
    **{("extra", one): ("EXTRA_ONLY_WITHDRAWN", "EXTRA_ONLY_WITHDRAWN") for one in EARLIER},
    ("extra", "withdrawn"): (None, None),
    **{("withdrawn", one): ("NO_SUCH_OUTCOME", "NO_SUCH_OUTCOME") for one in (*EARLIER, "withdrawn")},
}


@pytest.mark.parametrize(("earlier", "outcome"), sorted(MAY_FOLLOW))
def test_which_outcome_may_correct_which(earlier, outcome):
    while_sent, when_closed = MAY_FOLLOW[earlier, outcome]
    assert shipping.may_follow(earlier, outcome, closed=False) == while_sent
    assert shipping.may_follow(earlier, outcome, closed=True) == when_closed


def test_the_table_has_every_pair_of_outcomes():
    assert set(MAY_FOLLOW) == {(a, b) for a in shipping.OUTCOMES for b in shipping.OUTCOMES}


def test_every_outcome_of_a_line_says_what_it_needs():
    assert set(shipping.OF_A_LINE) <= set(shipping.NEEDS)
