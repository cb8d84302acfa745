"""What is said of an item the moment it is scanned, and what may be typed only with a reason."""

from datetime import date

import pytest

from gear.rules import packs
from gear.rules.fold import Happening, ItemFacts, TestFact
from inspections.rules import acceptance
from inspections.rules.bench import sheet
from inspections.rules.bench_scan import Before, notices, reasons_needed

PACK = packs.load("us_federal")
DAY = date(2026, 3, 2)
GLOVE = {"kind": "glove", "class": "2", "hand": "R", "length_mm": 360}
TESTED = {"accepted": TestFact(DAY, "e", "in_service", "us_federal 1", {})}
BEFORE = Before("G-1", "glove", "L", "P-1", mate="G-2")


def facts(item_no="G-9", identity=None, **more) -> ItemFacts:
    return ItemFacts(item_no, identity={**GLOVE, **(identity or {})}, **{**TESTED, **more})


def happened(word: str) -> Happening:
    return Happening(word, DAY, "e", "odd smell")


@pytest.mark.parametrize(
    ("more", "codes"),
    [
        ({}, []),
        ({"destroyed": happened("destroyed"), "rejected": happened("rejected")}, ["DESTROYED"]),
        ({"failed": happened("BREAKDOWN")}, ["REJECTED"]),
        ({"damaged": happened("damaged")}, ["REJECTED"]),
        ({"lost": happened("lost")}, ["LOST"]),
        ({"needs_cleaning": happened("needs_cleaning")}, ["DIRTY"]),
        ({"holds": [happened("held")]}, ["ON_HOLD"]),
        ({"holder": {"kind": "lab", "name": "Bay lab"}}, ["AT_LAB"]),
        ({"holder": {"kind": "shelf", "name": "The shelf"}}, []),
        ({"accepted": None}, ["OTHER_PURPOSE"]),
        ({"voided": [happened("suspect")]}, ["OTHER_PURPOSE"]),
        ({"out_for_repair": happened("out_for_repair")}, ["OTHER_PURPOSE"]),
    ],
)
def test_what_speaks_against_a_piece_is_said_before_anything_is_applied(more, codes):
    said = notices(facts(**more), purpose="in_service")
    assert [one.code for one in said] == codes
    assert any(one.bars for one in said) is (codes == ["DESTROYED"])


def test_a_longer_first_test_of_a_tested_piece_is_nothing_to_speak_of():
    assert notices(facts(), purpose="first") == []


@pytest.mark.parametrize(
    ("item_no", "identity", "before", "is_slip"),
    [
        ("G-2", {}, BEFORE, False),  # the mate
        ("G-9", {}, BEFORE, True),  # the right of another pair
        ("G-9", {"hand": "L"}, BEFORE, False),  # another left: some benches take all lefts first
        ("G-9", {"kind": "sleeve"}, BEFORE, False),
        ("G-9", {}, Before("G-1", "glove", "L", "P-1", "G-2", is_mate_here=True), False),
        ("G-9", {}, Before("G-1", "glove", "L", "", ""), False),  # it had no mate
        ("G-9", {}, None, False),
    ],
)
def test_the_other_hand_of_another_pair_is_a_slip(item_no, identity, before, is_slip):
    if before is BEFORE:
        before = Before("G-1", "glove", "L", "P-1", "G-2", is_mate_here=False)
    said = notices(facts(item_no, identity), purpose="in_service", before=before)
    assert [one.code for one in said] == (["NOT_THE_MATE"] if is_slip else [])


# 29 CFR 1910.137 Table I-1: class 2 is proved at 20 kV AC and 50 kV DC; 180 s first, 60 s in service
@pytest.mark.parametrize(
    ("stated", "codes"),
    [
        ({}, []),
        ({"applied_v": 20_001}, ["VOLTAGE_DIFFERS"]),
        ({"applied_v": 19_999}, ["VOLTAGE_DIFFERS"]),
        ({"supply": "dc", "applied_v": 50_000}, []),
        ({"supply": "dc", "applied_v": 20_000}, ["VOLTAGE_DIFFERS"]),
        ({"applied_v": None}, []),
        ({"new": True}, ["SHORT_FOR_FIRST"]),
        ({"new": True, "seconds": 179}, ["SHORT_FOR_FIRST"]),
        ({"new": True, "seconds": 180}, []),
        ({"new": True, "purpose": "first"}, []),  # judged as first: too short, and void
    ],
)
def test_what_differs_needs_a_reason(stated, codes):
    usual = {"purpose": "in_service", "supply": "ac", "applied_v": 20_000, "seconds": 60}
    known = facts(accepted=None) if stated.pop("new", False) else facts()
    figures = sheet(acceptance.TestedItem("glove", "2", 360), PACK)
    assert [one.code for one in reasons_needed(figures, known, **{**usual, **stated})] == codes
