"""Nothing that stands in the record may stop the fold, or be taken for a record that says nothing bad."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime
from uuid import UUID

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gear.rules import fold
from gear.rules.entries import CONDITIONS, SCHEMA, Line
from gear.rules.fold import ItemFacts
from gear.rules.moments import FOR_EVER
from tests.rules.histories import SHELF, entry, folded, issued, received, tested
from tests.rules.test_fold import histories

JAN, FEB, MAR = date(2026, 1, 1), date(2026, 2, 1), date(2026, 3, 1)

BROKEN = [
    ("version", {"v": 2, "reason": "x"}),
    ("no version", {"reason": "x"}),
    ("no facts", None),
    ("facts in a list", ["reason"]),
]


@pytest.mark.parametrize(("name", "facts"), BROKEN, ids=[name for name, _facts in BROKEN])
def test_an_entry_that_cannot_be_read_is_named(name, facts):
    broken = replace(entry("held", reason="x"), facts=facts)
    assert folded(received(), broken).unreadable == [str(broken.id)]


def test_an_entry_of_an_unknown_kind_is_named():
    broken = replace(entry("held", reason="x"), kind="blessed")
    assert folded(received(), broken).unreadable == [str(broken.id)]


@pytest.mark.parametrize(
    "holder", ["Dev", {"kind": "person"}, {"kind": "drawer", "name": "x"}, {"kind": "person", "name": 5}, {}]
)
def test_a_holder_that_cannot_be_read_leaves_the_item_where_it_was(holder):
    broken = replace(issued(on=JAN), facts={"v": 1, "holder": holder})
    facts = folded(received(), broken)
    assert (facts.unreadable, facts.holder, facts.issued) == ([str(broken.id)], SHELF, False)


@pytest.mark.parametrize(
    "identity", [None, "glove", ["glove"], {"kind": ["glove"]}, {"marked_expiry_on": "soon"}]
)
def test_an_identity_that_cannot_be_read_is_none(identity):
    broken = replace(received(), facts={"v": 1, "identity": identity, "holder": SHELF})
    facts = folded(broken)
    assert facts.identity == {}
    assert facts.unreadable[0] == str(broken.id)
    # the earlier one stands, and it is said that another cannot be read
    assert (
        folded(received(on=JAN), replace(broken, occurred_at=datetime(2027, 1, 1, tzinfo=UTC))).kind
        == "glove"
    )


MOMENTS = st.datetimes(datetime(2026, 1, 1), datetime(2026, 3, 1)).map(lambda one: one.replace(tzinfo=UTC))  # noqa: DTZ001
SCRAP = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.sampled_from(["accepted", "failed", "shelf", "person", "2026-01-01"]),
    lambda inner: (
        st.lists(inner, max_size=2) | st.dictionaries(st.sampled_from(["kind", "name", "on"]), inner)
    ),
    max_leaves=4,
)
NAMES = sorted({"v"} | {name for _one, needed, may in SCHEMA.values() for name in needed | may})


@st.composite
def any_line(draw):
    kind = draw(st.sampled_from(sorted(SCHEMA)))
    subject, needed, may = SCHEMA[kind]
    facts = draw(
        st.dictionaries(st.sampled_from(NAMES), SCRAP, max_size=4)
        | st.fixed_dictionaries({"v": st.just(1), **dict.fromkeys(needed, SCRAP)})
        | SCRAP
    )
    at = draw(MOMENTS)
    return Line(
        UUID(int=draw(st.integers(1, 6))),
        kind,
        at,
        at.date(),
        draw(MOMENTS),
        "",
        facts,
        UUID(int=draw(st.integers(1, 6))) if kind == "corrected" else None,
    )


@given(lines=st.lists(any_line(), max_size=6), as_of_at=MOMENTS)
@settings(max_examples=400)
def test_the_fold_never_raises_and_its_result_can_always_be_asked(lines, as_of_at):
    facts = fold.fold("G-1", lines, as_of_at=as_of_at, known_at=FOR_EVER)
    assert facts.condition in CONDITIONS
    assert facts.usable in (True, False)
    fold.set_stated(lines, as_of_at=as_of_at, known_at=FOR_EVER)


# Stored facts
@given(lines=histories())
@settings(max_examples=200)
def test_facts_survive_being_stored(lines):
    facts = folded(*lines)
    stored = json.loads(json.dumps(fold.to_json(facts)))
    assert fold.from_json(stored) == facts
    assert fold.to_json(fold.from_json(stored)) == stored


def test_what_is_empty_is_not_stored():
    stored = {"item_no": "G-1", "issued": False, "first_issue_known": True}
    assert fold.to_json(ItemFacts("G-1")) == stored
    assert fold.from_json(stored) == ItemFacts("G-1")


STORED = fold.to_json(folded(received(), tested(on=JAN), issued(on=FEB), entry("held", reason="x", on=MAR)))


@pytest.mark.parametrize(
    "change",
    [
        {"colour": "red"},
        {"issued": "yes"},
        {"first_issue_known": None},
        {"holder": "Dev"},
        {"holder": {"kind": "person"}},
        {"identity": ["glove"]},
        {"identity": {"kind": ["glove"]}},
        {"accepted": {"on": "2026-01-01"}},
        {"accepted": {**STORED["accepted"], "on": 5}},
        {"accepted": {**STORED["accepted"], "judged_as": ["glove"]}},
        {"holds": [{}]},
        {"holds": 5},
        {"failed": {"on": "2026-01-01"}},
        {"received_on": "soon"},
        {"unreadable": "x"},
        {"item_no": None, "lost": []},
    ],
)
def test_a_state_that_is_not_one_is_not_read_as_one(change):
    with pytest.raises((KeyError, TypeError, ValueError, AttributeError)):
        fold.from_json({**STORED, **change})
    assert fold.from_json(STORED).condition == "held"
