"""Accepted, failed, void, unjudged: one grounding jumper at a time."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from gear.rules import packs
from inspections.rules import acceptance

PACK = packs.load("us_federal")
# 2/0 copper, 10 ft: limit 1.15475 milliohm at 20 C.
JUMPER = acceptance.TestedItem("grounding_jumper", cable_size="2/0", cable_length_mm=3048)
GOOD_JUMPER = acceptance.Reading(
    date(2026, 9, 10),
    "in_service",
    resistance_mohm=Decimal("1.100"),
    cable_temp_c=Decimal(20),
    visual="accept",
)


def jumper(item=JUMPER, **changes):
    found = acceptance.judge(replace(GOOD_JUMPER, **changes), item, PACK)
    return found.outcome, [finding.code for finding in found.codes]


@pytest.mark.parametrize(
    ("resistance", "temperature", "outcome"),
    [
        ("1.153", 20, "accepted"),
        ("1.154", 20, "accepted"),
        ("1.155", 20, "failed"),
        ("1.250", 35, "failed"),
        # passes corrected to 20 C, above the limit at 35 C
        ("1.210", 35, "failed"),
        # within the limit at 0 C, fails corrected to 20 C
        ("1.080", 0, "failed"),
    ],
)
def test_a_jumper_passes_only_where_both_ways_accept(resistance, temperature, outcome):
    found, codes = jumper(resistance_mohm=Decimal(resistance), cable_temp_c=Decimal(temperature))
    assert found == outcome
    assert codes == (["RESISTANCE_ABOVE_LIMIT"] if outcome == "failed" else [])


def test_the_arithmetic_of_a_jumper_is_shown():
    reading = replace(GOOD_JUMPER, resistance_mohm=Decimal("1.250"), cable_temp_c=Decimal(35))
    found = acceptance.judge(reading, JUMPER, PACK)
    assert found.details == {
        "reading_mohm": Decimal("1.250"),
        "corrected_mohm": Decimal("1.1804"),
        "limit_20_mohm": Decimal("1.1548"),
        "limit_at_temperature_mohm": Decimal("1.2040"),
    }
    assert found.codes[0].values == found.details


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"resistance_mohm": None}, ("void", ["READING_MISSING"])),
        ({"cable_temp_c": None}, ("void", ["READING_MISSING"])),
        ({"resistance_mohm": Decimal("0.000")}, ("void", ["ZERO_RESISTANCE"])),
        ({"resistance_mohm": Decimal("NaN")}, ("void", ["READING_ABSURD"])),
        ({"resistance_mohm": Decimal("-1")}, ("void", ["READING_ABSURD"])),
        ({"cable_temp_c": Decimal("NaN")}, ("void", ["READING_ABSURD"])),
        ({"cable_temp_c": Decimal("-300")}, ("void", ["READING_ABSURD"])),
        ({"cable_temp_c": "warm"}, ("void", ["READING_ABSURD"])),
    ],
)
def test_a_jumper_needs_its_readings(changes, expected):
    assert jumper(**changes) == expected


@pytest.mark.parametrize(
    ("item", "expected"),
    [
        (replace(JUMPER, cable_length_mm=None), ("unjudged", ["LENGTH_NOT_STATED"])),
        (replace(JUMPER, cable_size=None), ("unjudged", ["CABLE_NOT_STATED"])),
        (replace(JUMPER, cable_size="350 kcmil"), ("unjudged", ["NO_RESISTANCE_LIMIT"])),
        (replace(JUMPER, cable_length_mm=0), ("unjudged", ["NO_RESISTANCE_LIMIT"])),
    ],
)
def test_a_jumper_without_a_limit_is_unjudged(item, expected):
    assert jumper(item) == expected


def test_supply_voltage_and_time_say_nothing_about_a_jumper():
    assert jumper(supply="dc", applied_v=1, seconds=1) == ("accepted", [])
