"""Nothing is good by default: what is dropped from the facts of a good item stops it, or does not matter at all."""

import dataclasses
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gear.rules import fold
from gear.rules.fold import ItemFacts
from gear.rules.readiness import KINDS, decide
from tests.rules.histories import DEV, FEDERAL, LAB, SHELF, entry, folded, issued, mate_of, received, tested
from tests.rules.test_readiness import FEB, JAN, MAR, asked, codes, glove

IRRELEVANT = {
    "received_on",  # dates nothing
    "holder_since",
    "label",
    "checked_on",  # a note
    "set_no",  # a glove's pair is told by its mates
    "first_issue_known",  # default: known
    "first_issued_on",  # unknown: counts from the test, which is earlier
    "void_test",
}


def test_what_is_dropped_from_a_good_item_stops_it_or_does_not_matter():
    facts = folded(
        received(),
        entry("joined_set", set_no="P-1"),
        entry("labelled", code="A"),
        tested("void", on=date(2025, 12, 1)),
        tested(on=JAN),
        issued(on=FEB),
        entry("inspected", outcome="accept", scope="pre_use", on=MAR),
    )
    assert asked(facts).verdict == "good"
    empty = ItemFacts("G-1")
    dropped = {
        field.name
        for field in dataclasses.fields(ItemFacts)
        if getattr(facts, field.name) != getattr(empty, field.name) and field.name != "issued"
    }
    still_good = {
        name
        for name in dropped
        if asked(replace(facts, **{name: getattr(empty, name)}), mates=[mate_of(facts)]).verdict == "good"
    }
    assert still_good == dropped & IRRELEVANT
    assert dropped - IRRELEVANT == {"identity", "holder", "accepted"}


@pytest.mark.parametrize("name", ["kind", "class", "hand", "length_mm"])
def test_no_part_of_the_identity_that_the_answer_rests_on_may_be_missing(name):
    facts = glove()
    answer = asked(replace(facts, identity={**facts.identity, name: None}), mates=[mate_of(glove())])
    assert answer.verdict != "good"
    assert name != "length_mm" or codes(answer) == ["JUDGED_AS_OTHER"]


@pytest.mark.parametrize("name", ["issued", "first_issue_known", "item_no"])
def test_a_stored_state_that_does_not_say_everything_is_not_read(name):
    stored = {key: value for key, value in fold.to_json(glove()).items() if key != name}
    with pytest.raises((KeyError, TypeError)):
        fold.from_json(stored)


@given(
    days=st.integers(-400, 400),
    tested_days=st.none() | st.integers(-400, 400),
    flags=st.sets(st.sampled_from(["held", "lost", "rejected", "sent_for_test", "needs_cleaning"])),
    kind=st.sampled_from([*KINDS, "mitten", None]),
    at=st.sampled_from([SHELF, DEV, LAB]),
)
def test_good_is_only_said_of_what_was_tested_is_in_date_and_has_nothing_against_it(
    days, tested_days, flags, kind, at
):
    as_of = MAR + timedelta(days=days)
    judged_as = {"kind": kind, "class": "2"}
    lines = [received(kind=kind, holder=at)]
    if tested_days is not None:
        lines.append(tested(on=MAR + timedelta(days=tested_days), judged_as=judged_as))
    for flag in flags:
        lines.append(entry(flag, **({} if flag == "sent_for_test" else {"reason": "x"}), on=FEB))
    facts = folded(*lines, as_of=as_of)
    answer = decide(facts, FEDERAL, as_of=as_of, mates=[mate_of(facts)])
    if answer.verdict == "good":
        assert facts.condition == "ok"
        assert facts.last_test_on <= as_of
        assert answer.good_through is None or as_of <= answer.good_through
        assert not answer.reasons
    else:
        assert answer.reasons
