"""Accepted, failed, void, unjudged: one line of a test book at a time."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gear.rules import packs
from inspections.rules import acceptance

PACK = packs.load("us_federal")
BENCH_DAY = date(2026, 9, 10)
# A class 2 glove of 356 mm: proof 20,000 V, limit 16 mA.
GLOVE = acceptance.TestedItem("glove", "2", 356)
GOOD_GLOVE = acceptance.Reading(
    BENCH_DAY,
    "in_service",
    "ac",
    20000,
    60,
    Decimal("11.2"),
    visual="accept",
    breakdown=False,
    flashover=False,
)
BLANKET = acceptance.TestedItem("blanket", "2")
GOOD_BLANKET = acceptance.Reading(BENCH_DAY, "in_service", "ac", 20000, 60, visual="accept")
# 2/0 copper, 10 ft: limit 1.15475 milliohm at 20 C.
JUMPER = acceptance.TestedItem("grounding_jumper", cable_size="2/0", cable_length_mm=3048)
GOOD_JUMPER = acceptance.Reading(
    BENCH_DAY, "in_service", resistance_mohm=Decimal("1.100"), cable_temp_c=Decimal(20), visual="accept"
)


def judged(reading, item=GLOVE):
    found = acceptance.judge(reading, item, PACK)
    return found.outcome, [finding.code for finding in found.codes]


def glove(**changes):
    return judged(replace(GOOD_GLOVE, **changes))


def test_a_glove_that_held_its_proof_voltage_within_its_current_is_accepted():
    found = acceptance.judge(GOOD_GLOVE, GLOVE, PACK)
    assert (found.outcome, found.codes, found.effects) == ("accepted", (), frozenset())
    assert (found.proof.value, found.limit.value) == (20000, 16)


# --- voltage and time ---------------------------------------------------------------------------


@pytest.mark.parametrize("cls", packs.CLASSES)
@pytest.mark.parametrize("kind", packs.RUBBER_KINDS)
@pytest.mark.parametrize("supply", packs.SUPPLIES)
@pytest.mark.parametrize(("difference", "enough"), [(-1, False), (0, True), (1, True)])
def test_proof_voltage_is_reached_or_the_test_is_void(kind, cls, supply, difference, enough):
    if supply == "dc" and kind in ("line_hose", "hood"):
        volts = 100000
        expected = ("void", ["DC_NOT_ALLOWED"])
    else:
        volts = PACK.proof_v(kind, cls, supply).value + difference
        expected = ("accepted", []) if enough else ("void", ["VOLTAGE_TOO_LOW"])
    length = {"00": 280, "0": 280}.get(cls, 460)
    item = acceptance.TestedItem(kind, cls, length if kind == "glove" else None)
    reading = replace(GOOD_BLANKET, supply=supply, applied_v=volts, leakage_ma=Decimal("5"))
    assert judged(reading, item) == expected


@pytest.mark.parametrize("cls", PACK.classes_of("rigid_cover"))
@pytest.mark.parametrize("supply", packs.SUPPLIES)
@pytest.mark.parametrize(("difference", "outcome"), [(-1, "void"), (0, "accepted"), (1, "accepted")])
def test_rigid_cover_against_figures_from_memory(cls, supply, difference, outcome):
    item = acceptance.TestedItem("rigid_cover", cls)
    volts = PACK.proof_v("rigid_cover", cls, supply).value + difference
    found = acceptance.judge(replace(GOOD_BLANKET, supply=supply, applied_v=volts), item, PACK)
    assert found.outcome == outcome
    assert found.proof.confirm


@pytest.mark.parametrize(
    ("purpose", "seconds", "expected"),
    [
        # three minutes for a first test (29 CFR 1926.97(a)(2)(i)(B)), one minute in service (from memory)
        ("first", 179, ("void", ["TOO_SHORT"])),
        ("first", 180, ("accepted", [])),
        ("first", 60, ("void", ["TOO_SHORT"])),
        ("in_service", 59, ("void", ["TOO_SHORT"])),
        ("in_service", 60, ("accepted", [])),
        ("after_repair", 59, ("void", ["TOO_SHORT"])),
        ("after_repair", 60, ("accepted", [])),
        ("suspect", 59, ("void", ["TOO_SHORT"])),
        ("suspect", 60, ("accepted", [])),
        ("investigation", 600, ("unjudged", ["NO_DURATION_FIGURE"])),
    ],
)
def test_time_at_voltage_by_purpose(purpose, seconds, expected):
    assert glove(purpose=purpose, seconds=seconds) == expected


# --- current of a glove -------------------------------------------------------------------------

CELLS = [
    (row["class"], row["length_mm"], row["milliamperes"])
    for row in PACK.data["glove_current"]["rows"]
    if "milliamperes" in row
]
EMPTY_CELLS = [
    (row["class"], row["length_mm"]) for row in PACK.data["glove_current"]["rows"] if "no_value" in row
]


@pytest.mark.parametrize(("cls", "length_mm", "limit"), CELLS)
@pytest.mark.parametrize(
    ("difference", "expected"),
    [
        ("-0.001", ("accepted", [])),
        ("0", ("accepted", [])),
        ("0.001", ("failed", ["CURRENT_ABOVE_LIMIT"])),
    ],
)
def test_current_at_the_edge_of_every_limit(cls, length_mm, limit, difference, expected):
    item = acceptance.TestedItem("glove", cls, length_mm)
    volts = PACK.proof_v("glove", cls, "ac").value
    assert (
        judged(replace(GOOD_GLOVE, applied_v=volts, leakage_ma=limit + Decimal(difference)), item) == expected
    )


@pytest.mark.parametrize(("cls", "length_mm"), EMPTY_CELLS)
def test_a_cell_without_a_value_leaves_the_test_unjudged(cls, length_mm):
    item = acceptance.TestedItem("glove", cls, length_mm)
    reading = replace(GOOD_GLOVE, applied_v=40000, leakage_ma=Decimal("1"))
    assert judged(reading, item) == ("unjudged", ["NO_CURRENT_LIMIT"])
    assert judged(replace(reading, breakdown=True), item)[0] == "failed"
    assert judged(replace(reading, seconds=1), item)[0] == "void"


def test_a_16_4_ma_glove_fails_at_356_mm_and_passes_at_406_mm():
    reading = replace(GOOD_GLOVE, leakage_ma=Decimal("16.4"))
    assert judged(reading, acceptance.TestedItem("glove", "2", 356))[0] == "failed"
    assert judged(reading, acceptance.TestedItem("glove", "2", 406))[0] == "accepted"


def test_a_glove_is_never_0_ma_on_ac():
    assert glove(leakage_ma=Decimal("0.0")) == ("void", ["ZERO_CURRENT"])
    assert glove(leakage_ma=Decimal("0.001")) == ("accepted", [])


@pytest.mark.parametrize("current", [None, Decimal("0"), Decimal("30")])
def test_under_dc_the_current_of_a_glove_is_not_judged(current):
    assert glove(supply="dc", applied_v=50000, leakage_ma=current) == ("accepted", [])


@pytest.mark.parametrize(
    ("current", "expected"),
    [
        ("11.2", ("unjudged", ["LENGTH_NOT_STATED"])),
        # the limits of class 2 are 16, 18 and 20 mA
        ("16.001", ("unjudged", ["LENGTH_NOT_STATED"])),
        ("20", ("unjudged", ["LENGTH_NOT_STATED"])),
        ("20.001", ("failed", ["CURRENT_ABOVE_EVERY_LIMIT", "LENGTH_NOT_STATED"])),
        ("0", ("void", ["ZERO_CURRENT", "LENGTH_NOT_STATED"])),
    ],
)
def test_a_glove_of_unknown_length_can_only_be_failed(current, expected):
    item = acceptance.TestedItem("glove", "2")
    assert judged(replace(GOOD_GLOVE, leakage_ma=Decimal(current)), item) == expected


def test_length_says_nothing_under_dc():
    reading = replace(GOOD_GLOVE, supply="dc", applied_v=50000)
    assert judged(reading, acceptance.TestedItem("glove", "2")) == ("accepted", [])


def test_a_current_above_the_limit_fails_even_where_the_supply_is_not_stated():
    assert glove(supply=None, leakage_ma=Decimal("16.001")) == (
        "failed",
        ["CURRENT_ABOVE_LIMIT", "READING_MISSING"],
    )


def test_sleeves_and_blankets_have_no_current_limit():
    assert judged(replace(GOOD_BLANKET, leakage_ma=Decimal("99")), BLANKET) == ("accepted", [])


# --- what was seen, and what happened -----------------------------------------------------------


@pytest.mark.parametrize(
    ("visual", "expected", "effects"),
    [
        ("accept", ("accepted", []), set()),
        ("reject", ("failed", ["VISUAL_REJECT"]), set()),
        ("test", ("void", ["VISUAL_TEST"]), {"suspect"}),
        ("clean", ("void", ["VISUAL_CLEAN"]), {"needs_cleaning"}),
        (None, ("void", ["READING_MISSING"]), set()),
        ("good", ("void", ["READING_ABSURD"]), set()),
        ("ACCEPT", ("void", ["READING_ABSURD"]), set()),
    ],
)
@pytest.mark.parametrize(
    ("reading", "item"), [(GOOD_GLOVE, GLOVE), (GOOD_BLANKET, BLANKET), (GOOD_JUMPER, JUMPER)]
)
def test_visual_outcomes(reading, item, visual, expected, effects):
    reading = replace(reading, visual=visual)
    assert judged(reading, item) == expected
    assert acceptance.judge(reading, item, PACK).effects == effects


@pytest.mark.parametrize(
    ("breakdown", "flashover", "expected"),
    [
        # not stated does not void: the voltage held for the full time
        (None, None, ("accepted", [])),
        (False, False, ("accepted", [])),
        (True, False, ("failed", ["BREAKDOWN"])),
        # a flashover at the cuff is a fault of the set-up
        (False, True, ("void", ["FLASHOVER"])),
        (True, True, ("failed", ["BREAKDOWN", "FLASHOVER"])),
    ],
)
@pytest.mark.parametrize(
    ("reading", "item"), [(GOOD_GLOVE, GLOVE), (GOOD_BLANKET, BLANKET), (GOOD_JUMPER, JUMPER)]
)
def test_breakdown_and_flashover(reading, item, breakdown, flashover, expected):
    assert judged(replace(reading, breakdown=breakdown, flashover=flashover), item) == expected


@pytest.mark.parametrize(
    ("reading", "item"), [(GOOD_GLOVE, GLOVE), (GOOD_BLANKET, BLANKET), (GOOD_JUMPER, JUMPER)]
)
def test_an_instrument_known_to_be_out_of_calibration_voids_the_test(reading, item):
    assert judged(replace(reading, instrument_expired=True), item) == ("void", ["INSTRUMENT_EXPIRED"])


@pytest.mark.parametrize(
    ("failing", "code"),
    [
        ({"breakdown": True}, "BREAKDOWN"),
        ({"leakage_ma": Decimal("16.001")}, "CURRENT_ABOVE_LIMIT"),
        ({"visual": "reject"}, "VISUAL_REJECT"),
    ],
)
@pytest.mark.parametrize(
    "voiding",
    [
        {"applied_v": 19999},
        {"seconds": 59},
        {"flashover": True},
        {"instrument_expired": True},
        {"applied_v": None},
        {"seconds": None},
        {"supply": None},
    ],
)
def test_failed_wins_over_void(failing, voiding, code):
    outcome, codes = glove(**failing, **voiding)
    assert outcome == "failed"
    assert codes[0] == code
    assert len(codes) > 1, "the second finding does not hide behind the first"


# --- missing and absurd readings ----------------------------------------------------------------


@pytest.mark.parametrize("field", ["supply", "applied_v", "seconds", "leakage_ma", "visual"])
def test_every_reading_of_a_glove_is_needed(field):
    found = acceptance.judge(replace(GOOD_GLOVE, **{field: None}), GLOVE, PACK)
    assert found.outcome == "void"
    assert [(finding.code, finding.values) for finding in found.codes] == [
        ("READING_MISSING", {"field": field})
    ]


@pytest.mark.parametrize("field", ["applied_v", "seconds", "leakage_ma"])
@pytest.mark.parametrize(
    "value", [Decimal("NaN"), Decimal("sNaN"), Decimal("Infinity"), Decimal("-1"), -1, True, 20000.0, "20000"]
)
def test_a_reading_that_is_no_number_is_never_accepted(field, value):
    found = acceptance.judge(replace(GOOD_GLOVE, **{field: value}), GLOVE, PACK)
    assert found.outcome == "void"
    assert [finding.code for finding in found.codes] == ["READING_ABSURD"]


def test_an_unknown_supply_is_never_accepted():
    outcome, codes = glove(supply="AC")
    assert outcome == "void"
    assert codes == ["READING_ABSURD"]


@pytest.mark.parametrize(
    ("item", "expected"),
    [
        (acceptance.TestedItem("glove", None, 356), ("unjudged", ["CLASS_NOT_STATED"])),
        (acceptance.TestedItem("glove", "5", 356), ("unjudged", ["NO_PROOF_FIGURE", "NO_CURRENT_LIMIT"])),
        (acceptance.TestedItem("blanket", None), ("unjudged", ["CLASS_NOT_STATED"])),
        (acceptance.TestedItem("rigid_cover", "1"), ("unjudged", ["NO_PROOF_FIGURE"])),
    ],
)
def test_without_a_class_of_the_pack_nothing_is_accepted(item, expected):
    assert judged(GOOD_GLOVE, item) == expected


def test_a_kind_that_needs_no_electrical_test_is_judged_by_the_look_alone():
    item = acceptance.TestedItem("protector")
    seen = acceptance.Reading(date(2026, 1, 5), "in_service", visual="accept")
    assert judged(seen, item) == ("accepted", [])
    assert judged(replace(seen, visual="reject"), item) == ("failed", ["VISUAL_REJECT"])
    assert judged(replace(seen, visual="clean"), item) == ("void", ["VISUAL_CLEAN"])
    assert judged(replace(seen, visual=None), item) == ("void", ["READING_MISSING"])


@pytest.mark.parametrize("kind", ["live_line_tool", "voltage_detector", "boots", ""])
def test_kinds_without_electrical_figures_are_unjudged_unless_seen_to_fail(kind):
    item = acceptance.TestedItem(kind)
    assert judged(GOOD_BLANKET, item) == ("unjudged", ["NO_ELECTRICAL_FIGURES"])
    assert judged(replace(GOOD_BLANKET, visual="reject"), item)[0] == "failed"
    assert judged(replace(GOOD_BLANKET, breakdown=True), item)[0] == "failed"
    assert judged(replace(GOOD_BLANKET, visual="test"), item)[0] == "void"


# --- everything at once -------------------------------------------------------------------------

ODD_NUMBERS = st.one_of(
    st.sampled_from([60, 180, 20000, 50000, Decimal("1.1"), Decimal("11.2")]),
    st.none(),
    st.integers(-5, 100000),
    st.decimals(allow_nan=True, allow_infinity=True),
)


@given(
    kind=st.sampled_from([*packs.KINDS, "boots"]),
    cls=st.sampled_from([None, *packs.CLASSES, "5", "6"]),
    length_mm=st.one_of(st.none(), st.integers(-1, 600)),
    reading=st.builds(
        acceptance.Reading,
        tested_on=st.just(BENCH_DAY),
        purpose=st.sampled_from([*packs.PURPOSES, "other"]),
        supply=st.sampled_from([None, "ac", "dc", "AC"]),
        applied_v=ODD_NUMBERS,
        seconds=ODD_NUMBERS,
        leakage_ma=ODD_NUMBERS,
        resistance_mohm=ODD_NUMBERS,
        cable_temp_c=st.one_of(st.none(), st.decimals(allow_nan=True, allow_infinity=True)),
        visual=st.sampled_from([None, "accept", "clean", "test", "reject", "fine"]),
        breakdown=st.sampled_from([None, True, False]),
        flashover=st.sampled_from([None, True, False]),
        instrument_expired=st.booleans(),
    ),
)
def test_whatever_is_written_only_a_complete_good_test_is_accepted(kind, cls, length_mm, reading):
    item = acceptance.TestedItem(kind, cls, length_mm, "2/0", length_mm)
    found = acceptance.judge(reading, item, PACK)
    assert found.outcome in ("accepted", "failed", "void", "unjudged")
    assert (found.outcome == "accepted") == (found.codes == ())
    if found.outcome == "accepted":
        assert reading.visual == "accept"
        assert not reading.breakdown
        assert not reading.flashover
        assert not reading.instrument_expired
        looked_at_alone = not PACK.kind_rule(kind).test_required  # a protector
        assert looked_at_alone or kind in (*packs.RUBBER_KINDS, "rigid_cover", "grounding_jumper")
        if kind != "grounding_jumper" and not looked_at_alone:
            assert reading.applied_v >= PACK.proof_v(kind, cls, reading.supply).value
            assert reading.seconds >= 60
        if kind == "glove" and reading.supply == "ac":
            assert 0 < reading.leakage_ma <= PACK.glove_limit_ma(cls, length_mm).value


def test_every_finding_has_an_outcome_that_is_not_accepted():
    assert set(acceptance.FINDINGS.values()) == {"failed", "void", "unjudged"}
