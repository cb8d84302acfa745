"""A lab's units into ours: exact where possible, else rounded to what proves less; a swapped unit is seen."""

from decimal import Decimal

import pytest

from inspections.rules import units
from inspections.rules.testbook import COLUMNS

# Factors are those of the International System of Units (NIST SP 811: foot 0.3048 m, inch 25.4 mm, F to C).
CONVERTED = [
    # column, as the lab wrote it, its unit, in ours
    ("applied_v", "20000", "V", "20000"),
    ("applied_v", "20", "kV", "20000"),
    ("applied_v", "19.9996", "kV", "19999"),  # down: less was applied
    ("seconds", "60", "s", "60"),
    ("seconds", "3", "min", "180"),
    ("seconds", "59.9", "s", "59"),
    ("leakage_ma", "12.5", "mA", "12.5"),
    ("leakage_ma", "12500", "uA", "12.5"),
    ("leakage_ma", "0.0125", "A", "12.5"),
    ("leakage_ma", "16000.1", "uA", "16.001"),  # up: never back below the limit
    ("leakage_ma", "0.0001", "mA", "0.001"),
    ("resistance_mohm", "1.155", "milliohm", "1.155"),
    ("resistance_mohm", "0.001155", "ohm", "1.155"),
    ("resistance_mohm", "1155.1", "microohm", "1.156"),
    ("cable_temp_c", "20", "C", "20"),
    ("cable_temp_c", "68", "F", "20"),
    ("cable_temp_c", "70", "F", "21.111"),  # 21.1111..., down: a cooler cable is allowed less
    ("cable_temp_c", "-4", "F", "-20"),
    ("cable_temp_c", "14.5", "F", "-9.723"),  # -9.7222..., down too
    ("length", "14", "in", "355.6"),
    ("length", "36", "cm", "360"),
    ("cable_length", "10", "ft", "3048"),
    ("cable_length", "3", "m", "3000"),
]


@pytest.mark.parametrize(("column", "given", "unit", "ours"), CONVERTED)
def test_a_reading_is_brought_into_our_unit(column, given, unit, ours):
    assert units.in_ours(column, Decimal(given), unit) == Decimal(ours)


def test_every_unit_has_a_case_and_every_column_with_a_unit_is_ours():
    assert {(column, unit) for column, _given, unit, _ours in CONVERTED} >= {
        (column, unit)
        for column, factors in units.FACTORS.items()
        for unit in factors
        if (column, unit)
        not in {("length", "mm"), ("cable_length", "mm"), ("cable_length", "cm"), ("cable_length", "in")}
    }
    assert set(units.FACTORS) - set(COLUMNS) == {"length", "cable_length"}


def test_a_unit_that_nobody_chose_converts_nothing():
    with pytest.raises(KeyError):
        units.in_ours("leakage_ma", Decimal(12), "")


def column(*values, usual="16"):
    return [(Decimal(value), Decimal(usual)) for value in values]


DOUBTS = [
    # readings that are as they should be, with one that failed and one that is odd
    ("", column("12.5", "9.8", "16.4", "210", "0.3")),
    # microamperes read as milliamperes, amperes read as milliamperes
    ("high", column("12500", "9800", "16400")),
    ("low", column("0.0125", "0.0098", "0.0164")),
    # kV read as V, minutes read as seconds, seconds read as minutes
    ("low", column("20", "20", "20", usual="20000")),
    ("low", column("1", "1", usual="60")),
    ("low", column("3", "3", usual="180")),
    ("high", column("3600", "3600", usual="60")),
    # ohms read as milliohms, microohms read as milliohms
    ("low", column("0.00105", "0.00098", usual="1.155")),
    ("high", column("1050", "980", usual="1.155")),
    # one sound reading among many does not hide it, nor does a lead that was off
    ("high", column("12500", "9800", "16400", "11000", "14.2")),
    ("high", column("0", "0", "12500")),
    # the very edge: 30 times is another unit, a hair less is not
    ("high", column("480", usual="16")),
    ("", column("479.999", usual="16")),
    # nothing to go by
    ("", column("0", "0")),
    ("", column("12500", usual="0")),
    ("", []),
]


@pytest.mark.parametrize(("doubt", "readings"), DOUBTS)
def test_a_column_in_another_unit_is_seen(doubt, readings):
    assert units.doubt(readings) == doubt


@pytest.mark.parametrize("times", ["1000.001", "0.00999"])
def test_what_is_a_thousand_times_too_large_or_a_hundred_times_too_small_is_always_seen(times):
    for count in range(1, 12):
        assert units.doubt(column(*[Decimal(16) * Decimal(times)] * count))


@pytest.mark.parametrize(
    ("doubt", "values"),
    [
        ("", ["20", "21"]),
        ("", ["-5", "2"]),
        ("high", ["68", "70"]),
        ("low", ["-6.7", "-5"]),
        ("", []),
        ("", ["50", "0"]),
    ],
)
def test_temperatures_in_the_other_unit_are_seen(doubt, values):
    assert units.temperature_doubt([Decimal(value) for value in values]) == doubt
