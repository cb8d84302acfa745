"""What the entries of an item add up to, in whatever order they were recorded, and never an exception."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gear.rules import fold
from gear.rules.entries import CONDITIONS
from gear.rules.moments import FOR_EVER
from tests.rules.histories import (
    DEV,
    LAB,
    SHELF,
    TRUCK,
    corrected,
    entry,
    folded,
    issued,
    moved,
    received,
    tested,
)

JAN, FEB, MAR, APR, MAY = (date(2026, month, 1) for month in range(1, 6))


# Holder and first issue
def test_an_item_is_where_it_was_put_last():
    facts = folded(received(), issued(on=JAN), moved(to=TRUCK, on=FEB), moved(to=SHELF, on=MAR))
    assert (facts.holder, facts.holder_since, facts.usable) == (SHELF, MAR, False)
    assert (facts.issued, facts.first_issued_on, facts.received_on) == (True, JAN, date(2015, 6, 1))


@pytest.mark.parametrize("to", [LAB, SHELF])
def test_only_a_holder_who_could_use_it_makes_a_first_issue(to):
    facts = folded(received(), moved(to=to, on=JAN))
    assert (facts.issued, facts.first_issued_on) == (False, None)
    assert folded(received(), moved(to=to, on=JAN), moved(to=TRUCK, on=FEB)).first_issued_on == FEB


def test_a_first_issue_may_be_stated_or_stated_as_unknown():
    assert folded(received(), entry("issued", holder=SHELF, first_issue=True, on=JAN)).first_issued_on == JAN
    facts = folded(received(), entry("moved", holder=DEV, first_issue_known=False, on=JAN))
    assert (facts.issued, facts.first_issue_known) == (True, False)
    # what is learned of a later move changes nothing about the first issue
    again = folded(received(), issued(on=JAN), entry("moved", holder=TRUCK, first_issue_known=False, on=FEB))
    assert again.first_issue_known


def test_receipt_in_somebodys_hands_is_the_first_issue():
    assert folded(received(holder=DEV)).first_issued_on == date(2015, 6, 1)


# Tests
def test_the_newest_accepted_test_dates_the_item():
    facts = folded(received(), tested(on=JAN), tested(on=MAR), tested(on=FEB))
    assert facts.last_test_on == MAR


def test_a_void_test_moves_no_clock_and_clears_nothing():
    facts = folded(
        received(), tested(on=JAN), entry("event", event="dropped", on=FEB), tested("void", on=MAR)
    )
    assert (facts.accepted.on, facts.void_test.on) == (JAN, MAR)
    assert facts.last_test_on is None
    assert [one.word for one in facts.voided] == ["dropped"]


def test_an_unjudged_test_stands_until_a_later_accepted_one():
    assert folded(received(), tested(on=JAN), tested("unjudged", on=FEB)).unjudged.on == FEB
    assert folded(received(), tested("unjudged", on=JAN), tested(on=FEB)).unjudged is None


def test_a_failed_test_is_final_whatever_passes_later():
    facts = folded(received(), tested("failed", on=JAN, codes=[{"code": "BREAKDOWN"}]), tested(on=FEB))
    assert (facts.condition, facts.failed.on, facts.failed.word) == ("rejected", JAN, "BREAKDOWN")


@pytest.mark.parametrize("order", list(permutations(range(2))))
def test_of_a_pass_and_a_failure_of_one_day_the_failure_counts_as_later(order):
    lines = [tested(on=JAN), tested("failed", on=JAN)]
    assert folded(received(), *(lines[one] for one in order)).condition == "rejected"


def test_a_voiding_event_of_the_day_of_the_test_counts_as_after_it():
    facts = folded(received(), entry("event", event="flash_or_contact", on=JAN), tested(on=JAN))
    assert facts.last_test_on is None


def test_a_later_accepted_test_ends_events_cleaning_and_the_stay_at_the_bench():
    facts = folded(
        received(),
        tested(on=JAN),
        entry("event", event="suspect", on=FEB),
        entry("needs_cleaning", reason="tar", on=FEB),
        entry("sent_for_test", holder=LAB, on=FEB),
        tested(on=MAR),
    )
    assert (facts.condition, facts.last_test_on, facts.voided, facts.holder) == ("ok", MAR, [], LAB)


def test_only_a_test_after_repair_ends_a_repair():
    lines = [received(), entry("sent_for_repair", reason="patch", on=JAN)]
    assert folded(*lines, tested(on=FEB)).condition == "out_for_repair"
    assert folded(*lines, tested(on=FEB, purpose="after_repair")).condition == "ok"


@pytest.mark.parametrize(
    ("effect", "condition", "last_test_on"),
    [("suspect", "ok", None), ("needs_cleaning", "needs_cleaning", JAN)],
)
def test_what_the_look_at_a_void_test_found_counts(effect, condition, last_test_on):
    facts = folded(received(), tested(on=JAN), tested("void", on=FEB, effects=[effect]))
    assert (facts.condition, facts.last_test_on) == (condition, last_test_on)


# Looks
@pytest.mark.parametrize(
    ("outcome", "scope", "condition", "checked_on", "voided"),
    [
        ("accept", "pre_use", "needs_cleaning", MAR, []),
        ("accept", "tool_room", "ok", MAR, []),
        ("clean", "pre_use", "needs_cleaning", None, []),
        ("test", "pre_use", "needs_cleaning", None, ["suspect"]),
        ("reject", "pre_use", "rejected", None, []),
    ],
)
def test_a_look_at_a_dirty_item(outcome, scope, condition, checked_on, voided):
    facts = folded(
        received(),
        entry("needs_cleaning", reason="tar", on=FEB),
        entry("inspected", outcome=outcome, scope=scope, words=["tear", "cuff"], on=MAR),
    )
    assert (facts.condition, facts.checked_on) == (condition, checked_on)
    assert [one.word for one in facts.voided] == voided
    if outcome == "reject":
        assert facts.damaged.reason == "tear, cuff"


# Holds, loss, sets, labels
def test_every_hold_needs_its_own_release():
    first, second = entry("held", reason="a", on=JAN), entry("held", reason="b", on=FEB)
    release = entry("released", hold=str(first.id), reason="fine", on=MAR)
    facts = folded(received(), first, second, release)
    assert [hold.entry for hold in facts.holds] == [str(second.id)]
    assert facts.condition == "held"
    done = folded(
        received(), first, second, release, entry("released", hold=str(second.id), reason="fine", on=MAR)
    )
    assert done.condition == "ok"


def test_a_found_item_is_held_and_needs_a_test():
    facts = folded(
        received(), tested(on=JAN), entry("lost", reason="?", on=FEB), entry("found", holder=SHELF, on=MAR)
    )
    assert (facts.condition, facts.last_test_on, facts.lost, facts.holder) == ("held", None, None, SHELF)


def test_an_item_belongs_to_the_set_it_joined_last():
    joined = [entry("joined_set", set_no="P-1", on=JAN), entry("joined_set", set_no="P-2", on=MAR)]
    assert folded(received(), joined[0]).set_no == "P-1"
    assert folded(received(), joined[0], entry("left_set", set_no="P-1", on=FEB)).set_no is None
    assert folded(received(), *joined, entry("left_set", set_no="P-1", on=APR)).set_no == "P-2"


def test_the_newest_label_is_the_one_in_force_and_a_note_changes_nothing():
    lines = [received(), entry("labelled", code="A", on=JAN), entry("labelled", code="B", on=FEB)]
    assert folded(*lines).label == "B"
    assert folded(*lines, entry("noted", note="x", on=MAR)) == folded(*lines)


WORST = [
    ("destroyed", [entry("destroyed", reason="cut", witness="ines", on=MAY)]),
    ("rejected", [entry("rejected", reason="torn", on=MAY)]),
    ("lost", [entry("lost", reason="?", on=MAY)]),
    ("held", [entry("held", reason="?", on=MAY)]),
    ("out_for_repair", [entry("sent_for_repair", reason="?", on=MAY)]),
    ("out_for_test", [entry("sent_for_test", on=MAY)]),
    ("needs_cleaning", [entry("needs_cleaning", reason="?", on=MAY)]),
    ("ok", []),
]


def test_the_condition_is_the_worst_of_those_that_hold():
    assert {name for name, _lines in WORST} == set(CONDITIONS)
    for index, (name, _lines) in enumerate(WORST):
        assert (
            folded(received(), *(line for _name, lines in WORST[index:] for line in lines)).condition == name
        )


# Two times
def test_what_happened_later_than_asked_is_left_out_but_what_the_item_is_does_not_depend_on_the_day():
    lines = [received(on=FEB), tested(on=MAR), tested("failed", on=APR)]
    assert folded(*lines, as_of=MAR).condition == "ok"
    assert folded(*lines, as_of=APR).condition == "rejected"
    before = folded(*lines, as_of=JAN)
    assert (before.kind, before.cls, before.holder, before.received_on) == ("glove", "2", None, None)


def test_an_item_whose_day_of_receipt_nobody_knows_was_there_at_its_first_record():
    lines = [received(on=APR, stated=False, holder=DEV), tested(on=JAN)]
    facts = folded(*lines, as_of=FEB)
    assert (facts.received_on, facts.holder, facts.issued) == (JAN, DEV, True)
    assert folded(*lines, as_of=date(2025, 12, 31)).holder is None
    assert folded(*lines, as_of=MAY).received_on == APR


def test_with_an_unknown_day_of_receipt_come_the_set_and_the_unknown_first_issue():
    lines = [
        received(on=APR, stated=False),
        entry("joined_set", on=APR, set_no="P-1"),
        issued(on=APR, to=DEV, first_issue_known=False),
        tested(on=JAN),
    ]
    facts = folded(*lines, as_of=FEB)
    assert (facts.set_no, facts.holder) == ("P-1", DEV)
    assert (facts.issued, facts.first_issue_known) == (True, False), "in hand: never the shelf allowance"
    known = folded(lines[0], issued(on=APR, to=DEV), lines[3], as_of=FEB)
    assert not known.issued, "a first issue whose day is known stays on its day"


def test_what_was_not_known_yet_is_left_out():
    learned = datetime(2026, 5, 1, tzinfo=UTC)
    lines = [received(), tested(on=JAN), tested("failed", on=FEB, recorded_at=learned)]
    assert folded(*lines, as_of=MAR, known_at=learned - timedelta(seconds=1)).condition == "ok"
    assert folded(*lines, as_of=MAR, known_at=learned).condition == "rejected"
    assert folded(*lines, as_of=JAN, known_at=learned).condition == "ok"


# Corrections
def test_a_correction_replaces_withdraws_and_is_itself_replaced_by_a_later_one():
    wrong = tested("failed", on=JAN)
    assert folded(received(), wrong, corrected(wrong, None)).condition == "ok"
    right = corrected(wrong, tested(on=FEB))
    assert folded(received(), wrong, right).last_test_on == FEB
    back = corrected(wrong, tested("failed", on=MAR))
    for order in permutations([wrong, right, back]):
        assert folded(received(), *order).failed.on == MAR


def test_a_correction_counts_from_when_it_was_recorded_and_reaches_back():
    learned = datetime(2026, 5, 1, tzinfo=UTC)
    wrong = tested(on=JAN)
    lines = [received(), wrong, corrected(wrong, tested("failed", on=JAN), recorded_at=learned, on=MAY)]
    assert folded(*lines, as_of=FEB).condition == "rejected"
    assert folded(*lines, as_of=FEB, known_at=learned - timedelta(seconds=1)).condition == "ok"


def test_a_correction_of_nothing_changes_nothing():
    stray = corrected(tested(on=JAN), None)
    assert folded(received(), stray) == folded(received())


@pytest.mark.parametrize(
    "replacement",
    [
        "void",
        {},
        {"kind": "tested", "facts": {}, "occurred_at": "soon", "occurred_on": "2026-01-01"},
        {"kind": "tested", "facts": {}, "occurred_at": "2026-01-01T00:00:00", "occurred_on": "2026-01-01"},
        {"kind": "tested", "facts": {}, "occurred_at": "2026-01-01T00:00:00+00:00", "occurred_on": None},
    ],
)
def test_a_correction_that_cannot_be_read_hides_nothing(replacement):
    wrong = tested("failed", on=JAN)
    broken = replace(
        corrected(wrong, None, on=MAY), facts={"v": 1, "reason": "?", "replacement": replacement}
    )
    assert folded(received(), wrong, broken, as_of=FEB).unreadable == [str(broken.id)]


def test_a_correction_without_a_replacement_cannot_be_read():
    wrong = tested(on=JAN)
    broken = replace(corrected(wrong, None), facts={"v": 1, "reason": "?"})
    assert folded(received(), wrong, broken).unreadable == [str(broken.id)]


# Sets
def test_a_set_is_what_its_newest_entry_says_and_what_it_is_does_not_depend_on_the_day():
    formed = [
        entry("set_formed", set_no="S-1", kind="grounding", required=3, on=FEB),
        entry("set_formed", set_no="S-1", kind="grounding", required=4, on=APR),
    ]

    def required(*, as_of_at=FOR_EVER, known_at=FOR_EVER):
        stated = fold.set_stated(formed, as_of_at=as_of_at, known_at=known_at)
        return stated and stated["required"]

    assert required() == 4
    assert required(as_of_at=datetime(2026, 3, 1, tzinfo=UTC)) == 3
    assert required(as_of_at=datetime(2026, 1, 1, tzinfo=UTC)) == 3
    assert required(known_at=datetime(2014, 1, 1, tzinfo=UTC)) is None


# Order of recording
@st.composite
def histories(draw):
    """An item's entries, no two of which are equally bad at one moment: those rightly go by when they were learned."""
    first = received()
    hold = entry("held", reason="x", on=FEB)
    makers = [
        lambda on: issued(on=on),
        lambda on: moved(to=TRUCK, on=on),
        lambda on: moved(to=SHELF, on=on),
        lambda on: tested(on=on),
        lambda on: tested("void", on=on, effects=["suspect"]),
        lambda on: tested("unjudged", on=on),
        lambda on: tested("failed", on=on),
        lambda on: tested(on=on, purpose="after_repair"),
        lambda on: entry("event", event="dropped", on=on),
        lambda on: entry("sent_for_repair", reason="x", on=on),
        lambda on: entry("released", hold=str(hold.id), reason="x", on=on),
        lambda on: entry("lost", reason="x", on=on),
        lambda on: entry("found", on=on),
        lambda on: entry("inspected", outcome="clean", scope="pre_use", on=on),
        lambda on: entry("inspected", outcome="accept", scope="tool_room", on=on),
        lambda on: entry("joined_set", set_no="P-1", on=on),
        lambda on: entry("left_set", set_no="P-1", on=on),
    ]
    days = draw(st.lists(st.integers(0, 60), min_size=1, max_size=6))
    lines = [draw(st.sampled_from(makers))(JAN + timedelta(days=one)) for one in days]
    if draw(st.booleans()):
        lines.append(
            corrected(
                draw(st.sampled_from(lines)),
                draw(st.sampled_from([None, tested(at=datetime(2026, 3, 1, 12, tzinfo=UTC))])),
            )
        )
    places = {}
    for line in [first, hold, *lines]:
        places.setdefault(fold.order(line)[:2] if line.kind != "corrected" else line.id, line)
    return list(places.values())


@given(lines=histories(), data=st.data())
@settings(max_examples=300)
def test_the_order_of_recording_makes_no_difference(lines, data):
    shuffled = data.draw(st.permutations(lines))
    begin = datetime(2026, 6, 1, tzinfo=UTC)
    recorded = [replace(line, recorded_at=begin + timedelta(seconds=at)) for at, line in enumerate(shuffled)]
    assert folded(*recorded) == folded(*lines)
