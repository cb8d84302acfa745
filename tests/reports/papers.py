"""Tests that certificates are made of, logged as the service logs them, and their papers read back."""

import io
import json
from datetime import date
from decimal import Decimal

import pypdf

from gear.actions.acting import Act
from gear.models import Entry, Item
from inspections.actions.testing import log_test
from inspections.rules.acceptance import Reading
from reports.queries.certificates import Issued, issued_for, proofs_for
from tests import builders

DAY = date(2026, 9, 7)
# A class 2 glove of 356 mm, the 14-inch column: 16 mA at most (29 CFR 1910.137 Table I-1); 16.0 is within.
GLOVE = {
    "supply": "ac",
    "applied_v": 20_000,
    "seconds": 60,
    "leakage_ma": Decimal("16.0"),
    "visual": "accept",
    "breakdown": False,
    "flashover": False,
}
# A jumper of 2/0 and 10 ft reads 1.250 milliohm at 35 degrees C: 1.180 at 20 C, 1.155 at most.
JUMPER = {"resistance_mohm": Decimal("1.250"), "cable_temp_c": Decimal(35), "visual": "accept"}


def fourteen_inch(item_no: str = "G-00001", **columns) -> Item:
    stated = {"serial": "KX-4471", "length_mm": 356, "maker": "Northgate Dielectric", "type": "II", **columns}
    return builders.glove(item_no, **stated)


def ten_feet(item_no: str = "J-00001", **columns) -> Item:
    return builders.jumper(item_no, **{"cable_length_m": "3.048", "serial": "J-77", **columns})


def logged(item: Item, by=None, *, on: date = DAY, purpose: str = "in_service", paper=None, **cells) -> Entry:
    usual = JUMPER if item.item_type.kind == "grounding_jumper" else GLOVE
    paper = {"instrument": "M-1", "report_no": f"R-{item.item_no}", **(paper or {})}
    return log_test(item, Reading(on, purpose, **{**usual, **cells}), act=Act(by), **paper)[0].entry


def issued(entry: Entry) -> Issued:
    return issued_for([entry])[0]


def attached(*entries: Entry) -> dict:
    """What travels in the paper of these tests, as anybody would read it."""
    return json.loads(proofs_for(issued_for(entries))[0])


def words_of(content: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())
