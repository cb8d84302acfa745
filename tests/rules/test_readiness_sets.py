"""A pair is good only if both hands are, a grounding set only with all its jumpers."""

from dataclasses import replace
from datetime import date

import pytest

from gear.rules import fold
from gear.rules.readiness import BLOCKS, SetFacts
from tests.rules.histories import entry, folded, issued, mate_of, received, tested
from tests.rules.test_readiness import FEB, JAN, LAST_DAY, asked, codes, glove

# Pairs
RIGHT = mate_of(glove())


def jumper(set_no="S-1"):
    """A tested 2/0 jumper, in a set unless told otherwise."""
    identity = {"class": None, "cable_size": "2/0"}
    joined = [entry("joined_set", set_no=set_no)] if set_no else []
    judged_as = {"kind": "grounding_jumper", "cable_size": "2/0"}
    return folded(received("grounding_jumper", **identity), *joined, tested(on=JAN, judged_as=judged_as))


def hand(**identity):
    return replace(RIGHT, identity={**RIGHT.identity, **identity})


@pytest.mark.parametrize(
    ("mates", "values"),
    [
        ([RIGHT], None),
        ([], {"cause": "missing", "hand": "R"}),
        ([hand(hand="L")], {"cause": "missing", "hand": "R"}),
        ([hand(hand=None)], {"cause": "missing", "hand": "R"}),
        ([RIGHT, replace(RIGHT, item_no="G-3")], {"cause": "too_many", "count": 3}),
        ([hand(**{"class": "1"})], {"cause": "differs", "field": "class", "mate": "G-2"}),
        ([hand(size="11")], {"cause": "differs", "field": "size", "mate": "G-2"}),
        ([hand(length_mm=410)], {"cause": "differs", "field": "length_mm", "mate": "G-2"}),
        ([hand(kind="sleeve")], {"cause": "differs", "field": "kind", "mate": "G-2"}),
        # what one of them does not state does not differ
        ([hand(size=None)], None),
        ([hand(type="II")], None),
    ],
)
def test_a_glove_needs_its_opposite_hand_of_the_same_make(mates, values):
    answer = asked(glove(), mates=mates)
    first = [reason.values for reason in answer.reasons if reason.values.get("cause") != "mate"]
    assert first == ([] if values is None else [values])
    assert (answer.verdict == "good") is (values is None)


def test_a_right_glove_misses_its_left_and_a_glove_of_no_hand_is_never_complete():
    assert asked(RIGHT, mates=[]).reasons[0].values == {"cause": "missing", "hand": "L"}
    assert asked(glove(hand=None), mates=[RIGHT]).reasons[0].values == {"cause": "hand"}


@pytest.mark.parametrize(
    ("code", "bad"),
    [
        ("DESTROYED", entry("destroyed", reason="x", witness="ines", on=FEB)),
        ("REJECTED", entry("rejected", reason="x", on=FEB)),
        ("HELD", entry("held", reason="x", on=FEB)),
        ("LOST", entry("lost", reason="x", on=FEB)),
        ("FAILED_TEST", tested("failed", on=FEB)),
        ("DAMAGED", entry("inspected", outcome="reject", scope="pre_use", on=FEB)),
        ("NEEDS_TEST", entry("event", event="suspect", on=FEB)),
        ("OUT_FOR_REPAIR", entry("sent_for_repair", reason="x", on=FEB)),
        ("OUT_FOR_TEST", entry("sent_for_test", on=FEB)),
        ("TEST_NOT_JUDGED", tested("unjudged", on=FEB)),
        ("NEEDS_CLEANING", entry("needs_cleaning", reason="x", on=FEB)),
    ],
)
def test_a_pair_is_good_only_if_both_are_and_says_which_is_not(code, bad):
    answer = asked(glove(), mates=[mate_of(glove(bad))])
    verdict = BLOCKS[code][1]
    assert (answer.verdict, codes(answer)) == (verdict, ["SET_NOT_COMPLETE"])
    assert answer.reasons[0].values == {
        "cause": "mate",
        "mate": "G-2",
        "mate_code": code,
        "mate_verdict": verdict,
    }
    assert answer.good_through == LAST_DAY


# Grounding sets and others
def other(number, facts):
    return replace(facts, item_no=f"J-{number}")


@pytest.mark.parametrize(
    ("count", "gear_set", "values"),
    [
        (3, SetFacts("S-1", "grounding", 3), None),
        (4, SetFacts("S-1", "grounding", 3), None),
        (2, SetFacts("S-1", "grounding", 3), {"set": "S-1", "cause": "count", "count": 2, "required": 3}),
        (1, SetFacts("S-1", "grounding", 3), {"set": "S-1", "cause": "count", "count": 1, "required": 3}),
        (3, SetFacts("S-1", "grounding", None), {"set": "S-1", "cause": "unstated"}),
        (3, None, {"set": "S-1", "cause": "unstated"}),
    ],
)
def test_a_grounding_set_is_complete_with_all_its_jumpers(count, gear_set, values):
    mates = [other(number, jumper()) for number in range(1, count)]
    answer = asked(jumper(), mates=mates, gear_set=gear_set)
    assert [reason.values for reason in answer.reasons] == ([] if values is None else [values])


def test_one_bad_jumper_stops_the_set_and_a_jumper_in_no_set_is_answered_alone():
    held = replace(other(2, jumper()), holds=jumper().holds + [fold.Happening("held", FEB, "x", "y")])
    answer = asked(jumper(), mates=[held, other(1, jumper())], gear_set=SetFacts("S-1", "grounding", 3))
    assert answer.reasons[0].values == {
        "set": "S-1",
        "cause": "mate",
        "mate": "J-2",
        "mate_code": "HELD",
        "mate_verdict": "stop",
    }
    assert asked(jumper(set_no=None), mates=[], gear_set=None).verdict == "good"


def test_the_set_is_good_until_its_first_member_runs_out_and_the_items_date_stays_its_own():
    sooner = folded(received(hand="R"), issued(on=date(2025, 7, 1)), tested(on=date(2025, 12, 1)))
    pair = entry("joined_set", set_no="P-1", on=JAN)
    answer = asked(glove(pair), mates=[sooner])
    assert (answer.set_no, answer.good_through, answer.set_good_through) == (
        "P-1",
        LAST_DAY,
        date(2026, 5, 31),
    )
    undated = folded(received(hand="R"))
    assert asked(glove(pair), mates=[undated]).set_good_through is None
    assert asked(undated, mates=[glove()]).set_good_through is None
    assert asked(replace(undated, set_no="P-1"), mates=[glove()]).set_good_through is None
