"""What an entry may say, and how entries of one moment sort."""

from contextlib import suppress
from datetime import UTC, date, datetime
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gear.rules import entries
from gear.rules.entries import SCHEMA, BadFacts, Line, check
from tests.rules.histories import DEV, GLOVE, JUDGED_AS, SHELF

# One right entry of every kind.
RIGHT = {
    "received": {"identity": GLOVE, "holder": SHELF},
    "issued": {"holder": DEV},
    "moved": {"holder": DEV},
    "returned": {"holder": SHELF},
    "handed_back": {},
    "tested": {
        "outcome": "accepted",
        "purpose": "first",
        "pack": "us_federal 1",
        "judged_as": JUDGED_AS,
        "readings": {},
    },
    "inspected": {"outcome": "accept", "scope": "pre_use"},
    "event": {"event": "suspect"},
    "held": {"reason": "odd smell"},
    "released": {"hold": "x", "reason": "looked at"},
    "rejected": {"reason": "torn"},
    "destroyed": {"reason": "cut up", "witness": "ines"},
    "lost": {"reason": "not on the truck"},
    "found": {},
    "needs_cleaning": {"reason": "tar"},
    "sent_for_test": {},
    "sent_for_repair": {"reason": "patch"},
    "joined_set": {"set_no": "P-1"},
    "left_set": {"set_no": "P-1"},
    "labelled": {"code": "ABCDEFGHJKM"},
    "noted": {"note": "seen"},
    "set_formed": {"set_no": "P-1", "kind": "pair", "required": 2},
    "pack_adopted": {
        "name": "a",
        "version": "1",
        "sha256": "f",
        "effective_from": "2026-07-01",
        "reason": "new",
    },
    "policy_set": {"policy": {}, "effective_from": "2026-07-01", "reason": "new"},
    "person_changed": {"person": "dev", "change": "role"},
    "instrument_added": {"instrument": "M-2", "instrument_kind": "meter"},
    "calibrated": {"instrument": "M-2", "calibrated_on": "2026-08-03", "in_tolerance": True},
    "restored": {"made_at": "2026-09-14T02:00:00+00:00", "seal": "", "head": "f"},
    "restore_accepted": {"how": "signed"},
    "corrected": {"reason": "typed wrong", "replacement": None},
}


def subject_of(kind):
    return "item" if SCHEMA[kind][0] == "any" else SCHEMA[kind][0]


def checked(kind, facts, **changes):
    check(kind, {"v": 1, **facts, **changes}, subject=subject_of(kind))


@pytest.mark.parametrize("kind", SCHEMA)
def test_a_right_entry_of_every_kind_may_be_recorded(kind):
    checked(kind, RIGHT[kind])


@pytest.mark.parametrize(
    ("kind", "field"), [(kind, field) for kind in SCHEMA for field in sorted(SCHEMA[kind][1])]
)
def test_no_required_fact_may_be_missing(kind, field):
    facts = {name: value for name, value in RIGHT[kind].items() if name != field}
    with pytest.raises(BadFacts, match=f"An entry '{kind}' needs {field}"):
        checked(kind, facts)


@pytest.mark.parametrize("kind", SCHEMA)
def test_no_unknown_fact_is_taken(kind):
    with pytest.raises(BadFacts, match="does not know colour_of_the_sky"):
        checked(kind, RIGHT[kind], colour_of_the_sky="blue")


@pytest.mark.parametrize("kind", SCHEMA)
def test_facts_of_another_version_are_not_taken(kind):
    for version in (None, 0, 2, "1", True):
        with pytest.raises(BadFacts, match="version"):
            checked(kind, RIGHT[kind], v=version)


@pytest.mark.parametrize("kind", [kind for kind in SCHEMA if SCHEMA[kind][0] != "any"])
def test_an_entry_belongs_to_its_own_kind_of_subject(kind):
    for subject in {"item", "set", "site"} - {SCHEMA[kind][0]}:
        with pytest.raises(BadFacts, match=f"belongs to a {SCHEMA[kind][0]}, not to a {subject}"):
            check(kind, {"v": 1, **RIGHT[kind]}, subject=subject)


def test_there_is_no_entry_of_an_unknown_kind():
    with pytest.raises(BadFacts, match="no entry of kind 'edited'"):
        check("edited", {"v": 1}, subject="item")


REPLACEMENT = {
    "kind": "held",
    "facts": {"v": 1, "reason": "odd smell"},
    "occurred_at": "2026-03-01T00:00:00+00:00",
    "occurred_on": "2026-03-01",
}


@pytest.mark.parametrize(
    ("kind", "changes", "sentence"),
    [
        # words
        ("tested", {"outcome": "pass"}, "outcome is one of accepted, failed, void, unjudged, not 'pass'"),
        ("tested", {"outcome": True}, "outcome is one of"),
        ("event", {"event": "rained on"}, "event is one of suspect"),
        ("inspected", {"outcome": "accepted"}, "outcome is one of accept, clean"),
        ("inspected", {"scope": "at home"}, "scope is one of pre_use, tool_room"),
        # holders
        ("issued", {"holder": {"kind": "drawer", "name": "x"}}, "holder is a kind of person, truck"),
        ("issued", {"holder": {"kind": "person", "name": ""}}, "holder is"),
        ("issued", {"holder": {"kind": "person"}}, "holder is"),
        ("issued", {"holder": "Dev"}, "holder is"),
        ("found", {"holder": ["shelf"]}, "holder is"),
        # identities
        ("received", {"identity": {**GLOVE, "wingspan": 1}}, "identity is text, whole numbers and ISO dates"),
        ("received", {"identity": {**GLOVE, "class": ["2"]}}, "identity is"),
        ("received", {"identity": {**GLOVE, "length_mm": True}}, "identity is"),
        ("received", {"identity": {**GLOVE, "made_on": "20260105"}}, "identity is"),
        ("received", {"identity": {**GLOVE, "marked_expiry_on": "2027-02-30"}}, "identity is"),
        ("received", {"identity": None}, "identity is"),
        # shapes
        ("issued", {"first_issue": "no"}, "first_issue is true or false"),
        ("tested", {"judged_as": ["glove"]}, "judged_as is"),
        ("tested", {"readings": 5}, "readings is"),
        ("tested", {"codes": ["BREAKDOWN"]}, "codes is a list of findings"),
        ("tested", {"codes": {"code": "BREAKDOWN"}}, "codes is"),
        ("tested", {"effects": ["revives"]}, "effects is suspect, needs_cleaning"),
        ("tested", {"effects": "suspect"}, "effects is"),
        ("inspected", {"words": "tear"}, "words is a list of words"),
        ("held", {"reason": 5}, "reason is text"),
        ("set_formed", {"required": 0}, "required is a whole number"),
        ("set_formed", {"required": True}, "required is"),
        ("policy_set", {"policy": "none"}, "policy is"),
        ("policy_set", {"effective_from": "1 July"}, "effective_from is a date like"),
        ("policy_set", {"effective_from": 20260701}, "effective_from is"),
        # what both databases, every program and the hash read alike
        (
            "tested",
            {"readings": {"leakage_ma": 7.5}},
            "leakage_ma is 7.5; a number with decimals is given as text",
        ),
        ("tested", {"readings": {"leakage_ma": float("nan")}}, "leakage_ma is nan"),
        ("tested", {"readings": {1: "x"}}, "readings has the name 1; a name is text"),
        ("tested", {"readings": {"seconds": 2**53}}, "seconds is too large a number"),
        ("tested", {"readings": {"on": date(2026, 3, 1)}}, "on is datetime.date"),
        ("noted", {"note": "nul\0"}, "note holds a character that cannot be kept"),
        ("noted", {"note": "half \ud83d"}, "note holds a character that cannot be kept"),
        ("inspected", {"words": ["fine", "nul\0"]}, "words holds a character"),
        # corrections
        ("corrected", {"replacement": "void"}, "replacement is null, or has"),
        ("corrected", {"replacement": {**REPLACEMENT, "by": "dev"}}, "replacement is null, or has"),
        ("corrected", {"replacement": {**REPLACEMENT, "kind": "corrected"}}, "is an entry, not a correction"),
        ("corrected", {"replacement": {**REPLACEMENT, "facts": []}}, "is an entry, not a correction"),
        (
            "corrected",
            {"replacement": {**REPLACEMENT, "occurred_at": "2026-03-01T00:00:00"}},
            "offset from UTC",
        ),
        ("corrected", {"replacement": {**REPLACEMENT, "occurred_at": "yesterday"}}, "offset from UTC"),
        ("corrected", {"replacement": {**REPLACEMENT, "occurred_on": None}}, "needs the day"),
        ("corrected", {"replacement": {**REPLACEMENT, "facts": {"v": 1}}}, "An entry 'held' needs reason"),
        ("corrected", {"replacement": {**REPLACEMENT, "kind": "set_formed"}}, "belongs to a set"),
    ],
)
def test_what_does_not_fit_is_refused_with_the_name_of_the_field(kind, changes, sentence):
    with pytest.raises(BadFacts, match=sentence):
        checked(kind, RIGHT[kind], **changes)


def test_a_right_replacement_may_be_recorded():
    checked("corrected", RIGHT["corrected"], replacement=REPLACEMENT)
    checked("corrected", RIGHT["corrected"], replacement={**REPLACEMENT, "precision": "day"})


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=6,
)


@given(
    kind=st.sampled_from(sorted(SCHEMA)),
    facts=st.dictionaries(st.text() | st.sampled_from(["v", "holder"]), JSON),
)
def test_checking_says_no_and_never_breaks(kind, facts):
    with suppress(BadFacts):
        check(kind, facts, subject=subject_of(kind))


@given(
    kind=st.sampled_from(sorted(SCHEMA)),
    changes=st.dictionaries(
        st.sampled_from(
            sorted({name for _subject, required, optional in SCHEMA.values() for name in required | optional})
        ),
        JSON,
        max_size=2,
    ),
)
def test_whatever_may_be_recorded_can_be_hashed(kind, changes):
    from gear.rules.hashing import canonical

    facts = {"v": 1, **RIGHT[kind], **changes}
    try:
        check(kind, facts, subject=subject_of(kind))
    except BadFacts:
        return
    assert canonical(facts)


# At one moment the worse counts as later.
RANKS = [
    ("received", {}),
    ("joined_set", {}),
    ("tested", {"outcome": "accepted"}),
    ("noted", {}),
    ("tested", {"outcome": "void"}),
    ("tested", {"outcome": "unjudged"}),
    ("event", {}),
    ("tested", {"outcome": "failed"}),
    ("destroyed", {}),
]


def test_the_worse_counts_as_later():
    ranks = [entries.severity(kind, facts) for kind, facts in RANKS]
    assert ranks == sorted(ranks)
    assert len(set(ranks)) == len(ranks)


@pytest.mark.parametrize(
    ("kind", "facts", "early"),
    [
        ("tested", {"outcome": "accepted"}, True),
        ("tested", {"outcome": "void"}, False),
        ("tested", {"outcome": "failed"}, False),
        ("tested", {"outcome": "unjudged"}, False),
        ("inspected", {"outcome": "accept"}, True),
        ("inspected", {"outcome": "clean"}, False),
        ("inspected", {"outcome": "test"}, False),
        ("inspected", {"outcome": "reject"}, False),
        ("received", {}, True),
        ("issued", {}, True),
        ("released", {}, True),
        ("event", {}, False),
        ("held", {}, False),
        ("lost", {}, False),
        ("rejected", {}, False),
        ("destroyed", {}, False),
        ("needs_cleaning", {}, False),
        # what cannot be read counts as bad news
        ("tested", {}, False),
        ("tested", {"outcome": ["accepted"]}, False),
        ("tested", "accepted", False),
        ("inspected", None, False),
        ("unheard_of", {}, False),
    ],
)
def test_a_day_without_a_time_counts_from_midnight_for_the_good_and_to_midnight_for_the_bad(
    kind, facts, early
):
    assert entries.sorts_early(kind, facts) is early


def test_the_order_is_when_then_how_bad_then_when_learned_then_the_id():
    noon, later = datetime(2026, 3, 1, 12, tzinfo=UTC), datetime(2026, 3, 1, 13, tzinfo=UTC)

    def line(number, kind, occurred_at, recorded_at, **facts):
        return Line(UUID(int=number), kind, occurred_at, date(2026, 3, 1), recorded_at, "", facts)

    lines = [
        line(9, "tested", noon, later, outcome="accepted"),
        line(1, "tested", noon, noon, outcome="failed"),
        line(2, "tested", noon, later, outcome="failed"),
        line(3, "tested", noon, later, outcome="failed"),
        line(0, "received", later, noon),
    ]
    assert sorted((lines[at] for at in (3, 1, 4, 0, 2)), key=entries.order) == lines
