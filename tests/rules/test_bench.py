"""What the bench is told before a test. Figures: 29 CFR 1910.137 Tables I-1 to I-3; jumpers: a summary of F2249."""

from datetime import date
from decimal import Decimal

import pytest

from gear.rules import packs
from gear.rules.fold import Happening, ItemFacts, TestFact
from inspections.rules import acceptance
from inspections.rules.bench import likely_purpose, sheet

PACK = packs.load("us_federal")
DAY = date(2026, 3, 2)


def values(figures):
    return {name: figure.value for name, figure in figures.items()}


def test_a_glove_has_everything_the_clerk_would_look_up():
    found = sheet(acceptance.TestedItem("glove", "2", 360), PACK)
    assert found.supplies == ("ac", "dc")
    assert values(found.proof) == {"ac": 20_000, "dc": 50_000}
    assert values(found.water) == {"ac": 64, "dc": 76}
    assert values(found.seconds) == {"first": 180, "in_service": 60, "after_repair": 60, "suspect": 60}
    assert (found.reads, found.limit_ma.value, found.missing) == (("leakage_ma",), 16, ())


@pytest.mark.parametrize(
    ("item", "missing"),
    [
        (acceptance.TestedItem("glove", "2", None), ("length_mm",)),
        (acceptance.TestedItem("glove", None, 360), ("class",)),
        (acceptance.TestedItem("blanket", None), ("class",)),
        (acceptance.TestedItem("blanket", "2"), ()),
        (acceptance.TestedItem("grounding_jumper", cable_size="2/0"), ("cable_length_m",)),
        (acceptance.TestedItem("grounding_jumper", cable_length_mm=3048), ("cable_size",)),
    ],
)
def test_what_the_record_must_state_first_is_named(item, missing):
    assert sheet(item, PACK).missing == missing


@pytest.mark.parametrize("kind", ["line_hose", "hood"])
def test_dc_is_not_offered_where_it_does_not_count(kind):
    """29 CFR 1910.137, note to the DC table: not appropriate for line hose and covers."""
    found = sheet(acceptance.TestedItem(kind, "2"), PACK)
    assert found.supplies == ("ac",)
    assert values(found.proof) == {"ac": 20_000}
    assert (found.reads, found.limit_ma, found.water) == ((), None, {})


# The worked lengths: 2/0 at 20 C, 10 ft gives 1.155 and 12 ft gives 1.322 milliohm
@pytest.mark.parametrize(("length_mm", "limit"), [(3048, "1.1548"), (3658, "1.3218")])
def test_a_jumper_has_its_limit_at_20_degrees(length_mm, limit):
    found = sheet(
        acceptance.TestedItem("grounding_jumper", cable_size="2/0", cable_length_mm=length_mm), PACK
    )
    assert found.limit_20_mohm == Decimal(limit)
    assert found.reads == ("resistance_mohm", "cable_temp_c")
    assert found.r20.value == Decimal("0.0795")
    assert (found.supplies, found.proof) == ((), {})


def test_a_cable_without_a_figure_has_no_limit():
    found = sheet(
        acceptance.TestedItem("grounding_jumper", cable_size="350 kcmil", cable_length_mm=3048), PACK
    )
    assert (found.limit_20_mohm, found.r20) == (None, None)


@pytest.mark.parametrize("kind", ["live_line_tool", "voltage_detector", "protector", ""])
def test_a_kind_without_electrical_figures_has_an_empty_sheet(kind):
    found = sheet(acceptance.TestedItem(kind), PACK)
    assert (found.supplies, found.reads, found.missing) == ((), (), ())


ACCEPTED = TestFact(DAY, "1", "first", "us_federal 1", {})
HAPPENED = Happening("x", DAY, "2")


@pytest.mark.parametrize(
    ("facts", "purpose"),
    [
        ({}, "first"),
        ({"accepted": ACCEPTED}, "in_service"),
        ({"issued": True}, "in_service"),
        ({"accepted": ACCEPTED, "voided": [HAPPENED]}, "suspect"),
        ({"accepted": ACCEPTED, "voided": [HAPPENED], "out_for_repair": HAPPENED}, "after_repair"),
    ],
)
def test_the_purpose_is_guessed_from_the_record(facts, purpose):
    assert likely_purpose(ItemFacts("G-1", **facts)) == purpose
