"""Grounding: resistance limits, withstand, parallel cables."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gear.rules import packs
from inspections.rules import grounding
from tests.rules.standard_rows import rows

PACK = packs.load("us_federal")
TEN_FEET = 3048


def feet(number) -> Decimal:
    """Exact millimetres: 6 ft is 1828.8 mm."""
    return Decimal(number) * Decimal("304.8")


def check(reading, *, at, size="2/0", length_mm=TEN_FEET):
    return grounding.check_jumper(
        resistance_mohm=Decimal(reading),
        cable_temp_c=Decimal(at),
        cable_size=size,
        length_mm=length_mm,
        pack=PACK,
    )


@pytest.mark.parametrize("row", rows("jumper_limits"), ids=lambda row: f"{row['cable_size']}-{row['feet']}ft")
def test_limit_at_20_c_by_size_and_length(row):
    limit = grounding.jumper_limit_mohm(
        cable_size=row["cable_size"], length_mm=feet(row["feet"]), temperature_c=Decimal(20), pack=PACK
    )
    assert abs(limit - Fraction(row["limit_mohm"])) <= Fraction("0.0005")


@pytest.mark.parametrize(
    ("temperature", "limit"), [("0", "1.089"), ("20", "1.155"), ("35", "1.204"), ("40", "1.220")]
)
def test_limit_of_ten_feet_of_2_0_at_cable_temperature(temperature, limit):
    """Worked with the formula of a summary of ASTM F2249: only the cable part follows the temperature."""
    found = grounding.jumper_limit_mohm(
        cable_size="2/0", length_mm=TEN_FEET, temperature_c=Decimal(temperature), pack=PACK
    )
    assert round(float(found), 3) == float(limit)


def test_ten_feet_reading_1_250_at_35_c_is_1_180_at_20_c_and_too_much_both_ways():
    found = check("1.250", at=35)
    assert not found.accepted
    assert found.corrected_mohm.quantize(Decimal("0.001")) == Decimal("1.180")
    assert found.limit_20_mohm.quantize(Decimal("0.001")) == Decimal("1.155")
    assert found.limit_at_temperature_mohm.quantize(Decimal("0.001")) == Decimal("1.204")


def test_the_same_reading_on_twelve_feet_is_accepted():
    found = check("1.250", at=35, length_mm=3658)
    assert found.accepted
    assert found.limit_20_mohm.quantize(Decimal("0.001")) == Decimal("1.322")
    assert found.limit_at_temperature_mohm.quantize(Decimal("0.001")) == Decimal("1.381")


@pytest.mark.parametrize(
    ("reading", "at", "accepted"),
    [
        # at 20 C both ways are one: 1.05 x 0.795 + 0.32 = 1.15475
        ("1.15375", 20, True),
        ("1.15475", 20, True),
        ("1.15575", 20, False),
        # warmer than 20 C the limit at cable temperature is the stricter: 1.20396...
        ("1.203", 35, True),
        ("1.204", 35, False),
        ("1.210", 35, False),
        # colder than 20 C the corrected reading is the stricter: 1.15475 x 0.9214 = 1.06398...
        ("1.063", 0, True),
        ("1.064", 0, False),
        ("1.080", 0, False),
    ],
)
def test_both_ways_must_accept(reading, at, accepted):
    assert check(reading, at=at).accepted is accepted


def test_each_way_alone_would_let_something_pass_that_the_other_stops():
    warm = check("1.210", at=35)
    assert warm.corrected_mohm <= warm.limit_20_mohm
    assert warm.reading_mohm > warm.limit_at_temperature_mohm
    cold = check("1.080", at=0)
    assert cold.corrected_mohm > cold.limit_20_mohm
    assert cold.reading_mohm <= cold.limit_at_temperature_mohm


@pytest.mark.parametrize(
    ("size", "length_mm", "temperature"),
    [
        ("350 kcmil", TEN_FEET, "20"),
        ("#4", TEN_FEET, "20"),
        (None, TEN_FEET, "20"),
        ("2/0", 0, "20"),
        ("2/0", -1, "20"),
        ("2/0", TEN_FEET, "-300"),
        ("2/0", TEN_FEET, "NaN"),
        ("2/0", TEN_FEET, "Infinity"),
    ],
)
def test_no_limit_no_judgement(size, length_mm, temperature):
    assert check("0.001", at=temperature, size=size, length_mm=length_mm) is None


@given(
    reading=st.decimals("0.001", "10", places=3),
    temperature=st.decimals("-40", "80", places=1),
    length_mm=st.integers(500, 20000),
    size=st.sampled_from(packs.CABLE_SIZES[:-1]),
)
def test_a_worse_reading_never_turns_a_refusal_into_a_pass(reading, temperature, length_mm, size):
    better = check(reading, at=temperature, size=size, length_mm=length_mm)
    worse = check(reading + Decimal("0.001"), at=temperature, size=size, length_mm=length_mm)
    assert better.accepted or not worse.accepted


@given(length_mm=st.integers(500, 20000), temperature=st.decimals("-40", "80", places=1))
def test_independent_arithmetic_gives_the_same_limit(length_mm, temperature):
    """The formula written out again for 4/0 in plain fractions of an ohm per thousand feet."""
    cable = (
        Fraction(50, 1000)
        * Fraction(length_mm * 10, 3048)
        * (1 + Fraction(393, 100000) * (Fraction(temperature) - 20))
    )
    expected = cable * Fraction(105, 100) + Fraction(32, 100)
    assert expected == grounding.jumper_limit_mohm(
        cable_size="4/0", length_mm=length_mm, temperature_c=temperature, pack=PACK
    )


@pytest.mark.parametrize(
    "row",
    rows("withstand_examples"),
    ids=lambda row: f"{row['cables']}x{row['cable_size']}-{row['kiloamperes']}kA-{row['cycles']}",
)
def test_worked_withstand_examples(row):
    fault = {"kiloamperes": Decimal(row["kiloamperes"]), "cycles": int(row["cycles"])}
    if row["cables"] == "2":
        rating = grounding.parallel_withstand_ka(row["cable_size"], cycles=fault["cycles"], pack=PACK)
        holds = fault["kiloamperes"] <= rating.kiloamperes
    else:
        holds = grounding.check_withstand(PACK.grade_of_cable(row["cable_size"]), **fault, pack=PACK).holds
    assert {True: "yes", False: "no", None: "unknown"}[holds] == row["holds"]


@pytest.mark.parametrize(
    ("cycles", "column"),
    [
        (1, 15),
        (14, 15),
        (15, 15),
        (16, 30),
        (18, 30),
        (30, 30),
        (31, None),
        (60, None),
        (0, None),
        (-1, None),
    ],
)
def test_next_longer_tabulated_duration_never_beyond(cycles, column):
    expected = {15: 27, 30: 20, None: None}[column]
    found = PACK.withstand_ka("3", cycles)
    assert (found.value if found else None) == expected


@pytest.mark.parametrize(
    ("grade", "fault", "code"),
    [
        (None, {"kiloamperes": Decimal(1), "cycles": 15}, "GRADE_NOT_KNOWN"),
        ("3", {"kiloamperes": Decimal("NaN"), "cycles": 15}, "FAULT_NOT_STATED"),
        ("3", {"kiloamperes": Decimal(0), "cycles": 15}, "FAULT_NOT_STATED"),
        ("3", {"kiloamperes": Decimal(1), "cycles": 0}, "FAULT_NOT_STATED"),
        ("3", {"kiloamperes": Decimal(1), "cycles": 31}, "NO_TABULATED_DURATION"),
        ("9", {"kiloamperes": Decimal(1), "cycles": 15}, "NO_TABULATED_DURATION"),
        ("3H", {"kiloamperes": Decimal(1), "cycles": 16}, "NO_TABULATED_DURATION"),
        (
            "3",
            {"kiloamperes": Decimal(1), "cycles": 15, "x_over_r": Decimal("1.81")},
            "HIGH_X_OVER_R_NEEDS_H_GRADE",
        ),
        (
            "3",
            {"kiloamperes": Decimal(1), "cycles": 15, "x_over_r": Decimal("30")},
            "HIGH_X_OVER_R_NEEDS_H_GRADE",
        ),
    ],
)
def test_what_the_tables_cannot_say_is_unknown(grade, fault, code):
    found = grounding.check_withstand(grade, **fault, pack=PACK)
    assert (found.holds, found.code) == (None, code)


@pytest.mark.parametrize(
    ("grade", "kiloamperes", "x_over_r", "holds"),
    [
        ("3", "27", "1.8", True),
        ("3H", "31", "30", True),
        ("3H", "31.001", "30", False),
        ("3", "26.999", None, True),
        ("3", "27", None, True),
        ("3", "27.001", None, False),
    ],
)
def test_withstand_at_the_edge(grade, kiloamperes, x_over_r, holds):
    found = grounding.check_withstand(
        grade,
        kiloamperes=Decimal(kiloamperes),
        cycles=15,
        x_over_r=Decimal(x_over_r) if x_over_r else None,
        pack=PACK,
    )
    assert found.holds is holds


def test_x_over_r_that_is_no_number_is_not_taken_for_a_low_one():
    found = grounding.check_withstand(
        "3", kiloamperes=Decimal(1), cycles=15, x_over_r=Decimal("Infinity"), pack=PACK
    )
    assert found.holds is None


@pytest.mark.parametrize(
    ("size", "cycles", "lower", "tabulated", "derated"),
    [
        # ASTM F855 grade 6 and 7 against twice one cable less 10 % (UFC 3-560-01): the lower counts
        ("2/0", 15, "48.6", "54", "48.6"),
        ("2/0", 30, "36.0", "39", "36.0"),
        ("4/0", 15, "74", "74", "77.4"),
        ("4/0", 30, "54", "54", "54.0"),
        ("1/0", 15, "37.8", None, "37.8"),
    ],
)
def test_parallel_cables_take_the_lower_of_two_rules(size, cycles, lower, tabulated, derated):
    found = grounding.parallel_withstand_ka(size, cycles=cycles, pack=PACK)
    assert found == grounding.ParallelRating(
        Decimal(lower), Decimal(tabulated) if tabulated else None, Decimal(derated)
    )


@pytest.mark.parametrize(("size", "cycles"), [("2/0", 31), ("#4", 15), (None, 15)])
def test_no_parallel_rating_without_a_single_one(size, cycles):
    assert grounding.parallel_withstand_ka(size, cycles=cycles, pack=PACK) is None


def test_a_size_that_is_not_awg_has_no_wire_number():
    with pytest.raises(ValueError, match="250 kcmil is not an AWG size"):
        grounding.wire_number("250 kcmil")
