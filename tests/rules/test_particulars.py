"""What a record should state, kind by kind, and what it lacks."""

from datetime import date

import pytest

from gear.rules.fold import Happening, ItemFacts, TestFact
from gear.rules.particulars import BY_CODE, NEEDS, PARTICULARS, asked_of, lacking
from gear.rules.readiness import KINDS

FULL = {
    "glove": {"class": "2", "length_mm": 360, "hand": "L", "size": "10"},
    "sleeve": {"class": "2", "hand": "R"},
    "blanket": {"class": "2"},
    "line_hose": {"class": "2"},
    "hood": {"class": "2"},
    "rigid_cover": {"class": "3"},
    "grounding_jumper": {
        "cable_size": "2/0",
        "cable_length_m": "3",
        "clamp_grade": "5",
        "ferrule_grade": "5",
    },
    "live_line_tool": {},
    "voltage_detector": {},
    "protector": {},
}
TRACED = {"serial": "K-1", "maker": "Northgate", "model": "N2", "lot": "L-7", "made_on": "2025-01-02"}


def piece(kind, *, without=(), **facts):
    identity = {"kind": kind, **FULL[kind], **TRACED}
    return ItemFacts("X-1", {name: one for name, one in identity.items() if name not in without}, **facts)


@pytest.mark.parametrize("kind", KINDS)
def test_a_record_that_states_all_of_its_kind_lacks_nothing(kind):
    assert lacking(piece(kind)) == []


@pytest.mark.parametrize(
    ("kind", "field", "code"),
    [
        # without these no figure can be looked up (29 CFR 1910.137 Tables I-1 to I-4; a summary of ASTM F2249)
        *(
            (kind, "class", "CLASS")
            for kind in ("glove", "sleeve", "blanket", "line_hose", "hood", "rigid_cover")
        ),
        ("glove", "length_mm", "LENGTH"),
        ("grounding_jumper", "cable_size", "CABLE_SIZE"),
        ("grounding_jumper", "cable_length_m", "CABLE_LENGTH"),
        # a pair is a left and a right one
        ("glove", "hand", "HAND"),
        ("sleeve", "hand", "HAND"),
        # the grade of a jumper is that of its lowest component (ASTM F855)
        ("grounding_jumper", "clamp_grade", "CLAMP_GRADE"),
        ("grounding_jumper", "ferrule_grade", "FERRULE_GRADE"),
        ("glove", "size", "SIZE"),
        *((kind, field, field.upper()) for kind in KINDS for field in TRACED),
    ],
)
@pytest.mark.parametrize("blank", [None, "", "missing"])
def test_what_is_not_stated_is_lacking_and_nothing_else_is(kind, field, code, blank):
    facts = piece(kind, without=(field,))
    if blank != "missing":
        facts.identity[field] = blank
    assert lacking(facts) == [code]


@pytest.mark.parametrize(
    ("kind", "never"),
    [
        ("blanket", {"LENGTH", "HAND", "SIZE", "CABLE_SIZE", "CLAMP_GRADE"}),
        ("grounding_jumper", {"CLASS", "LENGTH", "HAND", "SIZE"}),
        ("protector", {"CLASS", "LENGTH", "CABLE_LENGTH"}),
        ("sleeve", {"LENGTH", "SIZE"}),
    ],
)
def test_a_kind_is_not_asked_for_what_it_does_not_have(kind, never):
    assert not {one.code for one in asked_of(kind)} & never


def test_of_an_unknown_kind_only_what_every_piece_has_is_asked():
    assert {one.code for one in asked_of("trampoline")} == {one.code for one in PARTICULARS if not one.kinds}


def test_the_gravest_comes_first():
    order = [NEEDS.index(one.need) for one in PARTICULARS]
    assert order == sorted(order)
    assert len(BY_CODE) == len(PARTICULARS)


IN_HAND = {"holder": {"kind": "person", "name": "Dev"}, "issued": True}


@pytest.mark.parametrize(
    ("facts", "lacks"),
    [
        ({**IN_HAND, "first_issue_known": False}, True),
        ({**IN_HAND, "first_issue_known": True}, False),
        ({"holder": {"kind": "shelf", "name": "B"}, "issued": True, "first_issue_known": False}, False),
        ({"holder": {"kind": "shelf", "name": "B"}}, False),
    ],
)
def test_the_first_issue_of_what_is_in_hand_should_be_known(facts, lacks):
    assert ("FIRST_ISSUE" in lacking(piece("blanket", **facts))) is lacks


TEST = TestFact(date(2026, 3, 2), "entry-1", "in_service", "us_federal 1", {})


@pytest.mark.parametrize(
    ("known", "codes"),
    [
        ({}, []),
        ({"without_instrument": {"entry-1"}}, ["INSTRUMENT"]),
        ({"not_on_file": {"entry-1"}}, ["INSTRUMENT_NOT_ON_FILE"]),
        ({"without_instrument": {"another"}, "not_on_file": {"another"}}, []),
    ],
)
def test_the_test_that_dates_it_should_name_an_instrument_on_file(known, codes):
    assert lacking(piece("blanket", accepted=TEST), **known) == codes


def test_a_piece_without_a_test_lacks_no_instrument():
    assert lacking(piece("blanket"), without_instrument={""}, not_on_file={""}) == []


def test_of_a_destroyed_piece_nothing_is_asked():
    gone = Happening("destroyed", date(2026, 3, 2), "entry-9")
    assert lacking(ItemFacts("X-1", {"kind": "glove"}, destroyed=gone)) == []
