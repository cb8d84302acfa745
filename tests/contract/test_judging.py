"""Every boundary of a proof test and of a resistance reading, judged by the import command as the contract says."""

from __future__ import annotations

import itertools
import json
from datetime import timedelta
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

import pytest
from django.utils import timezone

from tests.contract import fleet, oracle
from tests.contract.commands import as_csv, told

pytestmark = pytest.mark.django_db
LENGTHS = (
    "266",
    "267",
    "280",
    "281",
    "355",
    "356",
    "360",
    "405",
    "406",
    "410",
    "455",
    "456",
    "457",
    "460",
    "600",
    "",
)
METRES = ("", "0.305", "1.829", "3.048", "3.658", "12.192")
TEMPERATURES = ("", "-20", "0", "20", "35", "100")


def piece(item_no, kind, **cells):
    today = timezone.localdate()
    stated = {"holder": "Dev", "holder_kind": "person", "made_on": (today - timedelta(days=400)).isoformat()}
    return dict.fromkeys(fleet.GEAR_COLUMNS, "") | stated | {"item_no": item_no, "kind": kind} | cells


def gloves():
    for cls, length in itertools.product(oracle.MAX_USE_V, LENGTHS):
        yield piece(f"G{cls}.{length or 'none'}", "glove", **{"class": cls, "hand": "L", "length_mm": length})


def others():
    for kind, cls in itertools.product(("sleeve", "blanket", "line_hose", "hood"), oracle.MAX_USE_V):
        yield piece(f"{kind}.{cls}", kind, **{"class": cls})
    for cls in oracle.GUARD_MAX_USE_V:
        yield piece(f"cover.{cls}", "rigid_cover", **{"class": cls})


def jumpers():
    sizes = (*oracle.MILLIOHM_PER_FOOT, "350 kcmil", "")
    for number, (size, length) in enumerate(itertools.product(sizes, METRES)):
        yield piece(f"J{number}", "grounding_jumper", cable_size=size, cable_length_m=length)


def row(item, **cells):
    tested_on = (timezone.localdate() - timedelta(days=10)).isoformat()
    return dict.fromkeys(fleet.TEST_COLUMNS, "") | {
        "item_no": item["item_no"],
        "tested_on": tested_on,
        "purpose": "in_service",
        "visual": "accept",
        **cells,
    }


def current_rows(item):
    """Every limit of the tables, met and passed by a thousandth, under AC, DC and an unstated supply."""
    limits = sorted({limit for column in oracle.CURRENT_MA.values() for limit in column if limit})
    readings = ["", "0", "0.001", *(text for limit in limits for text in (str(limit), f"{limit}.001"))]
    for supply, reading in itertools.product(("ac", "dc", ""), readings):
        proof = oracle.proof_volts(item, supply) or 20000
        yield row(item, supply=supply, applied_v=str(proof), seconds="60", leakage_ma=reading)


def withstand_rows(item):
    """A volt and a second to either side of what is asked, for every purpose; and each finding with each other."""
    for purpose, supply in itertools.product(
        ("first", "in_service", "after_repair", "suspect"), ("ac", "dc", "")
    ):
        proof, need = oracle.proof_volts(item, supply) or 20000, 180 if purpose == "first" else 60
        stated = {"purpose": purpose, "supply": supply, "leakage_ma": "7"}
        for volts, seconds in itertools.product(
            (proof - 1, proof, proof + 1, ""), (need - 1, need, need + 1, "")
        ):
            yield row(item, applied_v=str(volts), seconds=str(seconds), **stated)
        for visual, breakdown, flashover, volts in itertools.product(
            ("accept", "clean", "test", "reject"), ("", "no", "yes"), ("", "yes"), (proof, proof - 1)
        ):
            seen = {"visual": visual, "breakdown": breakdown, "flashover": flashover}
            yield row(item, applied_v=str(volts), seconds=str(need), **stated, **seen)


def resistance_rows(item):
    """Readings to either side of the limit at 20 C and of the limit at the temperature of the cable."""
    for temperature, visual in itertools.product(TEMPERATURES, ("accept", "reject")):
        for reading in sorted(readings_near(item, temperature)):
            yield row(item, resistance_mohm=reading, cable_temp_c=temperature, visual=visual)


def readings_near(item, temperature):
    size, length = item["cable_size"], item["cable_length_m"]
    if size not in oracle.MILLIOHM_PER_FOOT or not length or not temperature:
        return {"", "1.155"}
    cable = Decimal("1.05") * Decimal(oracle.MILLIOHM_PER_FOOT[size]) * Decimal(length) / Decimal("0.3048")
    factor = 1 + Decimal("0.00393") * (Decimal(temperature) - 20)
    limits = ((cable + Decimal("0.32")) * factor, cable * factor + Decimal("0.32"))
    rounded = {
        limit.quantize(Decimal("0.001"), way) for limit in limits for way in (ROUND_FLOOR, ROUND_CEILING)
    }
    return {
        "",
        *(str(limit + step) for limit in rounded for step in (Decimal("-0.001"), 0, Decimal("0.001"))),
    }


@pytest.mark.parametrize(
    ("pieces", "rows_of"),
    [(gloves, current_rows), (others, withstand_rows), (jumpers, resistance_rows)],
)
def test_every_row_is_judged_as_the_contract_says(tmp_path, pieces, rows_of):
    items = {item["item_no"]: item for item in pieces()}
    rows = [
        each | {"report_no": str(number)}
        for number, each in enumerate(itertools.chain.from_iterable(map(rows_of, items.values())))
    ]
    told("import_gear", as_csv(tmp_path / "gear.csv", items.values(), fleet.GEAR_COLUMNS), commit=True)
    book = as_csv(tmp_path / "tests.csv", rows, fleet.TEST_COLUMNS)
    got = json.loads(told("import_tests", book, format="json"))["rows"]
    assert len(got) == len(rows) > 1000
    expected = [oracle.judged(items[each["item_no"]], each) for each in rows]
    differing = [
        (each, one["outcome"], want)
        for each, one, want in zip(rows, got, expected, strict=True)
        if one["outcome"] != want
    ]
    assert differing == []
    assert {"accepted", "failed", "void"} <= set(expected)
