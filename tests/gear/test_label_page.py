"""The label of an item: enough to tell it without a phone, and nothing that could be read as a working voltage."""

import random
import re
from datetime import UTC, date, datetime

import pytest
import time_machine
from django.utils.html import escape

from gear import labels
from gear.models import ItemState
from gear.rules import codes
from gear.rules.packs import CLASSES
from tests import builders

NOW = datetime(2026, 6, 1, 16, 0, tzinfo=UTC)
CODE, OTHER = (codes.new_code(random.Random(number)) for number in (1, 2))
PROOF_V = {"00": 2500, "0": 5000, "1": 10000, "2": 20000, "3": 30000, "4": 40000}  # 29 CFR 1910.137 Table I-1
# ASTM D120 label colours, read in a trade article; a military handbook agrees for 0 to 4
COLOURS = {"00": "beige", "0": "red", "1": "white", "2": "yellow", "3": "green", "4": "orange"}

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def first_of_june():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def orla(client, cast):
    client.force_login(cast.orla)
    return client


def label_of(client, item_no: str) -> str:
    """The words on the label alone."""
    html = client.get(f"/items/{item_no}/label/").content.decode()
    found = re.search(r'<article class="label".*?</article>', html, flags=re.S)
    return " ".join(re.sub(r"<title>.*?</title>|<[^>]+>", " ", found[0], flags=re.S).split()) if found else ""


def pair():
    left = builders.glove("G-1", hand="L", label=CODE, serial="TX 1")
    right = builders.glove("G-2", hand="R", label=OTHER, serial="TX 2")
    builders.gather(left, right, set_no="P-7")
    builders.tested(left, on=date(2026, 5, 4))
    builders.tested(right, on=date(2026, 3, 2))
    return left, right


def test_a_label_tells_the_piece_without_a_phone(orla):
    pair()
    text = label_of(orla, "G-2")
    for words in (
        "G-2",
        "Glove, right",
        "size 10",
        "360 mm (14.2 in)",
        "Class 2, yellow",
        "MAX USE 17,000 V",
        "P-7: 2 of 2",
    ):
        assert words in text
    assert codes.grouped(OTHER) in text


@pytest.mark.parametrize("cls", CLASSES)
def test_it_names_the_colour_and_never_the_proof_voltage(orla, cls):
    builders.blanket("B-1", cls=cls, label=CODE)
    text = label_of(orla, "B-1")
    assert f"Class {cls}, {COLOURS[cls]}" in text
    for proof in (f"{PROOF_V[cls]:,}", f"{PROOF_V[cls]}", f"{PROOF_V[cls] / 1000:g} kV"):
        assert not re.search(rf"(?<![\d,.]){re.escape(proof)}", text)


def test_a_jumper_shows_cable_length_and_grade(orla):
    builders.jumper("J-1", label=CODE, clamp_grade="3")
    text = label_of(orla, "J-1")
    assert "2/0, 3 m (9.84 ft)" in text
    assert "Grade 3" in text
    assert "MAX USE" not in text


def test_rigid_cover_has_no_colour_of_rubber_goods(orla):
    builders.item("rigid_cover", "C-1", cls="2", label=CODE)
    text = label_of(orla, "C-1")
    assert "Class 2" in text
    assert "yellow" not in text


def test_before_issue_there_is_no_date_on_it(orla):
    pair()
    text = label_of(orla, "G-1")
    assert not re.search(r"20\d\d", text)
    assert "Scan before use." in text


def test_once_issued_it_names_test_and_last_good_day(orla):
    left, right = pair()
    builders.issued(left, right, on=date(2026, 5, 5))
    text = label_of(orla, "G-1")
    assert "TESTED ON 4 MAY 2026" in text
    assert "GOOD THROUGH 4 NOV 2026" in text
    assert "as of 1 JUN 2026, scan to confirm" in text


@pytest.mark.parametrize(
    ("own", "mates", "printed"),
    [
        (date(2026, 5, 6), date(2026, 5, 7), "GOOD THROUGH 5 NOV 2026"),
        (date(2026, 5, 7), date(2026, 5, 6), "GOOD THROUGH 5 NOV 2026"),
    ],
)
def test_the_earlier_of_the_two_days_is_printed(orla, own, mates, printed):
    left, right = pair()
    builders.issued(left, right, on=date(2026, 5, 5))
    builders.tested(left, on=own)
    builders.tested(right, on=mates)
    assert printed in label_of(orla, "G-1")


def test_what_is_not_good_gets_no_date(orla):
    left, right = pair()
    builders.issued(left, right, on=date(2026, 5, 5))
    builders.happened(left, "held", on=date(2026, 5, 20), reason="odd smell")
    assert "GOOD THROUGH" not in label_of(orla, "G-1")
    assert "is not good now" in orla.get("/items/G-1/label/").content.decode()


@pytest.mark.parametrize("kind", ["rejected", "destroyed"])
def test_what_is_finished_gets_no_label(orla, kind):
    left, _right = pair()
    facts = {"reason": "cut", **({"witness": "ines"} if kind == "destroyed" else {})}
    builders.happened(left, kind, **facts)
    assert label_of(orla, "G-1") == ""
    assert "gets no label" in orla.get("/items/G-1/label/").content.decode()


def test_a_record_that_is_broken_makes_no_label(orla):
    left, _right = pair()
    ItemState.objects.filter(item=left).update(entry_count=1)
    assert label_of(orla, "G-1") == ""
    assert "cannot be relied upon" in orla.get("/items/G-1/label/").content.decode()


def test_without_a_code_there_is_no_label(orla):
    builders.blanket("B-1")
    assert label_of(orla, "B-1") == ""
    assert "has no label code yet" in orla.get("/items/B-1/label/").content.decode()


def test_no_such_item_is_told_in_a_sentence(orla):
    response = orla.get("/items/B-404/label/")
    assert response.status_code == 404
    assert "There is no item B-404 in the book." in response.content.decode()


def test_visitors_sign_in_first(client):
    pair()
    assert client.get("/items/G-1/label/").status_code == 302


@pytest.mark.parametrize("base", ["https://gear.penhallow.example", "http://localhost:8000/"])
def test_the_square_holds_the_address_in_capitals_of_the_alphanumeric_mode(base):
    text = labels.address(CODE, base_url=base)
    assert text == f"{base.rstrip('/').upper()}/T/{CODE}"
    assert set(text) <= set(
        "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"
    )  # ISO/IEC 18004, alphanumeric mode
    assert codes.normalise(text, base_url=base).code == CODE


def test_the_square_has_its_quiet_zone_and_stays_small():
    square = labels.square(f"HTTPS://GEAR.PENHALLOW.EXAMPLE/T/{CODE}")
    assert square.modules - 2 * labels.QUIET_ZONE <= 33  # version 4: 27 mm leave 0.65 mm to a module
    starts = [tuple(map(int, start.split())) for start in re.findall(r"M(\d+ \d+)", square.path)]
    assert min(x for x, _y in starts) == min(y for _x, y in starts) == labels.QUIET_ZONE


def test_what_was_typed_into_the_book_stays_text(orla):
    hostile = '<img src=x onerror="alert(1)">'
    builders.blanket("B-1", label=CODE, size=hostile[:20])
    html = orla.get("/items/B-1/label/").content.decode()
    assert hostile[:20] not in html
    assert escape(hostile[:20]) in html
