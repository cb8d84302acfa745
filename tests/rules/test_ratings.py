"""Grades of jumpers and sets, trade names of classes, and units that come back as they were typed."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gear.rules import packs, ratings, units
from gear.rules.ratings import Grade

PACK = packs.load("us_federal")


def jumper(cable_size, clamp_grade, ferrule_grade):
    return ratings.grade_of_jumper(
        cable_size=cable_size, clamp_grade=clamp_grade, ferrule_grade=ferrule_grade, pack=PACK
    )


@pytest.mark.parametrize(
    ("cable", "clamp", "ferrule", "grade"),
    [
        # ASTM F855, 43.1.6: the lowest component, whichever it is
        ("4/0", "5", "3", "3"),
        ("4/0", "3", "5", "3"),
        ("2/0", "5", "5", "3"),
        ("#2", "7", "7", "1"),
        ("350 kcmil", "7", "7", "7"),
        # high X/R grades among themselves, the cable by its size
        ("4/0", "5H", "3H", "3H"),
        ("#2", "5H", "3H", "1H"),
    ],
)
def test_a_jumper_has_the_grade_of_its_lowest_component(cable, clamp, ferrule, grade):
    assert jumper(cable, clamp, ferrule) == Grade(grade)


@pytest.mark.parametrize(
    ("cable", "clamp", "ferrule", "code", "values"),
    [
        (None, "5", "3", "COMPONENT_NOT_STATED", {"component": "cable"}),
        ("", "5", "3", "COMPONENT_NOT_STATED", {"component": "cable"}),
        ("4/0", None, "3", "COMPONENT_NOT_STATED", {"component": "clamp"}),
        ("4/0", "5", "", "COMPONENT_NOT_STATED", {"component": "ferrule"}),
        ("#4", "5", "3", "CABLE_NOT_TABULATED", {"cable_size": "#4"}),
        ("4/0", "5H", "3", "GRADES_DO_NOT_COMPARE", {"grades": ["3", "5", "5H"]}),
        ("4/0", "9", "3", "GRADES_DO_NOT_COMPARE", {"grades": ["3", "5", "9"]}),
    ],
)
def test_what_is_not_known_of_a_jumper_gives_no_grade(cable, clamp, ferrule, code, values):
    assert jumper(cable, clamp, ferrule) == Grade(None, code, values)


@pytest.mark.parametrize(
    ("members", "expected"),
    [
        ([Grade("5"), Grade("3"), Grade("4")], Grade("3")),
        ([Grade("5H"), Grade("3H")], Grade("3H")),
        ([Grade("5"), Grade("3H")], Grade(None, "GRADES_DO_NOT_COMPARE", {"grades": ["3H", "5"]})),
        ([Grade("5"), Grade(None, "CABLE_NOT_TABULATED")], Grade(None, "CABLE_NOT_TABULATED")),
        ([Grade("5"), None], Grade(None, "COMPONENT_NOT_STATED", {"component": "jumper"})),
        ([], Grade(None, "SET_EMPTY")),
    ],
)
def test_a_set_has_the_grade_of_its_lowest_member_or_none(members, expected):
    assert ratings.grade_of_set(members) == expected


@pytest.mark.parametrize(
    ("kind", "kv", "cls"),
    [
        # gloves go by their proof voltage
        ("glove", "2.5", "00"),
        ("glove", "5", "0"),
        ("glove", "10", "1"),
        ("glove", "20", "2"),
        ("glove", "20.0", "2"),
        ("glove", "30", "3"),
        ("glove", "40", "4"),
        # and by maximum use
        ("glove", "17", "2"),
        ("sleeve", "26.5", "3"),
        # soft cover goes by its use class: "36 kV" is class 4 (common practice, no source)
        ("blanket", "36", "4"),
        ("hood", "36", "4"),
        # rigid cover: the trade's 46 kV is tied to no class
        ("rigid_cover", "46", None),
        ("rigid_cover", "36.6", "4"),
        ("glove", "15", None),
        ("glove", "NaN", None),
        ("glove", "sNaN", None),
        ("glove", "Infinity", None),
        ("grounding_jumper", "20", None),
        ("boots", "20", None),
    ],
)
def test_the_class_that_a_trade_name_means(kind, kv, cls):
    assert ratings.class_for_trade_name(kind, Decimal(kv), PACK) == cls


def test_no_trade_name_of_rubber_goods_means_two_classes():
    for kind in packs.RUBBER_KINDS:
        named = [PACK.proof_v(kind, cls, "ac").value for cls in packs.CLASSES]
        named += [PACK.max_use_v(kind, cls).value for cls in packs.CLASSES]
        assert len(named) == len(set(named))


# --- units --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        (units.mm_from_feet(Decimal("10")), 3048),
        (units.mm_from_feet(Decimal("12")), 3658),
        (units.mm_from_inches(Decimal("10.5")), 267),
        (units.mm_from_inches(Decimal("14")), 356),
        (units.mm_from_inches(Decimal("16")), 406),
        (units.mm_from_inches(Decimal("18")), 457),
        (units.mm_from_metres(Decimal("3.048")), 3048),
        (units.volts_from_kv(Decimal("26.5")), 26500),
        (units.feet_from_mm(3048), Decimal("10.00")),
        (units.inches_from_mm(267), Decimal("10.5")),
        (units.metres_from_mm(3048), Decimal("3.048")),
    ],
)
def test_conversions(found, expected):
    """The inch is 25.4 mm and the foot 304.8 mm by definition."""
    assert found == expected


@pytest.mark.parametrize(
    ("volts", "shown"),
    [(17000, "17"), (20000, "20"), (26500, "26.5"), (500, "0.5"), (11250, "11.25"), (0, "0")],
)
def test_kilovolts_are_shown_without_idle_zeros(volts, shown):
    assert str(units.kv_from_volts(volts)) == shown


@given(st.decimals("0", "1000", places=2))
def test_feet_come_back_as_typed(feet):
    assert units.feet_from_mm(units.mm_from_feet(feet)) == feet


@given(st.decimals("0", "1000", places=1))
def test_inches_come_back_as_typed(inches):
    assert units.inches_from_mm(units.mm_from_inches(inches)) == inches


@given(st.decimals("0", "1000", places=3))
def test_metres_come_back_as_typed(metres):
    assert units.metres_from_mm(units.mm_from_metres(metres)) == metres


@given(st.decimals("0", "1000", places=3))
def test_kilovolts_come_back_as_typed(kv):
    assert units.kv_from_volts(units.volts_from_kv(kv)) == kv


@given(st.integers(0, 10**6))
def test_millimetres_and_volts_come_back_from_metres_and_kilovolts(number):
    assert units.mm_from_metres(units.metres_from_mm(number)) == number
    assert units.volts_from_kv(units.kv_from_volts(number)) == number


@pytest.mark.parametrize(
    ("convert", "value", "said"),
    [
        (units.mm_from_metres, "3.0485", "finer than a millimetre"),
        (units.volts_from_kv, "0.0005", "finer than a volt"),
        (units.mm_from_feet, "NaN", "is not a number"),
        (units.mm_from_inches, "Infinity", "is not a number"),
    ],
)
def test_what_cannot_be_kept_is_refused(convert, value, said):
    with pytest.raises(ValueError, match=said):
        convert(Decimal(value))
