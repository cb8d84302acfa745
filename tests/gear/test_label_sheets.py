"""Every square on every stock is read by an independent decoder, in grey at 200 dpi, and the words are all there."""

import itertools
import random
import re
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gear import labels, queries
from gear.pdf.label_sheets import labels_pdf
from gear.pdf.label_strip import strip_pdf
from gear.rules import codes
from gear.rules.packs import CLASSES
from gear.rules.stock import STOCKS
from tests import builders
from tests.gear.label_pdfs import pages_of, sizes_of, squares_on, words_in
from tests.gear.test_label_page import COLOURS, PROOF_V

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]
BASE = "https://gear.penhallow-sound.example"
# 29 CFR 1910.137 Table I-5
MAX_USE = {"00": "500 V", "0": "1,000 V", "1": "7,500 V", "2": "17,000 V", "3": "26,500 V", "4": "36,000 V"}
RNG = random.Random(5)


def code():
    return codes.new_code(RNG)


def gear_for(stock, count):
    """So many items that the stock is meant for: jumpers, or pairs of every class in turn, the last with long texts."""
    if stock.kinds == {"grounding_jumper"}:
        sizes = itertools.cycle(["2/0", "4/0", "250 kcmil"])
        made = [
            builders.jumper(f"J-{at:05d}", label=code(), cable_size=next(sizes), cable_length_m="12.192")
            for at in range(count)
        ]
        builders.gather(*made, set_no="GROUNDS-UPPER-CLAY-022", kind="grounding")
        return made
    made = []
    for at in range(count // 2):
        shared = {"kind": "glove", "cls": CLASSES[at % len(CLASSES)], "size": "10", "length_mm": 360}
        number = f"G-{at:05d}"
        if at == count // 2 - 1:
            shared |= {"kind": "sleeve", "size": "extra large, long", "length_mm": 1200}
            number = "FERROW-POINT-000123"
        pair = [builders.item(item_no=f"{number}-{hand}", hand=hand, label=code(), **shared) for hand in "LR"]
        builders.gather(*pair, set_no=f"PAIR-FERROW-POINT-{at:05d}")
        made += pair
    day = builders.today() - timedelta(days=20)
    builders.tested(*made, on=day)
    builders.issued(*made, on=day + timedelta(days=1))
    return made


def made_for(items, stock, **wanted):
    asked = queries.question()
    looked_at = queries.seen_many([one.item_no for one in items], asked)
    return labels.labels_for(looked_at, asked, pack=queries.rules_for(asked).pack, stock=stock, **wanted)


@pytest.mark.parametrize("stock", STOCKS.values(), ids=STOCKS)
def test_every_square_is_read_in_its_place_and_every_word_is_there(stock, tmp_path):
    items = gear_for(stock, stock.per_page if stock.is_sheet else 8)
    made, left = made_for(items, stock)
    assert left == []
    sheets = labels.arrange(made, stock=stock, base_url=BASE)
    pdf = labels_pdf(sheets, stock=stock, as_of="14 SEP 2026 05:40 EDT (America/New_York)")
    pages = pages_of(pdf, tmp_path)
    assert len(pages) == (1 if stock.is_sheet else 8)
    assert set(sizes_of(pdf)) == {tuple(round(side, 1) for side in stock.page)}
    found = [one for page in pages for one in squares_on(page)]
    assert [text for text, _x, _y in found] == [labels.address(one.code, base_url=BASE) for one in made]
    for index, (_text, x, y) in enumerate(found):
        _page, left_edge, top = stock.place(index, start=1)
        quiet = stock.square.width * labels.QUIET_ZONE / 41  # version 4
        assert abs(x - left_edge - stock.square.x - quiet) < 1
        assert abs(y - top - stock.square.y - quiet) < 1
    text = " ".join(words_in(pdf))
    plain = re.sub(r"\s", "", text)
    for one in made:
        for words in (
            one.item_no,
            one.text.code,
            one.text.cls,
            one.text.colour,
            one.text.set_no,
            one.text.place_in_set,
        ):
            assert words.replace(" ", "") in plain
        if one.text.max_use:
            assert f"MAX USE {one.text.max_use}" in text
        if one.text.cable:
            assert one.text.cable in text
            assert "12.192 m" in text
    assert text.count("GOOD THROUGH") == (0 if stock.kinds == {"grounding_jumper"} else len(made))


def test_the_classes_are_named_with_their_colour_and_use_and_never_with_a_proof_voltage():
    made = [builders.blanket(f"B-{cls}", cls=cls, label=code(), size="36 x 36") for cls in CLASSES]
    for stock in (STOCKS["letter_30"], STOCKS["bag_tag"]):
        sheets = labels.arrange(made_for(made, stock)[0], stock=stock, base_url=BASE)
        text = " ".join(words_in(labels_pdf(sheets, stock=stock, as_of="now")))
        for cls in CLASSES:
            assert f"Class {cls}, {COLOURS[cls]}" in text
            assert f"MAX USE {MAX_USE[cls]}" in text
            for proof in (f"{PROOF_V[cls]:,} V", f"{PROOF_V[cls]} V", f"{PROOF_V[cls] / 1000:g} kV"):
                assert not re.search(rf"(?<![\d,.]){re.escape(proof)}", text)


def test_cells_before_the_first_free_one_stay_blank_and_copies_follow_each_other(tmp_path):
    stock = STOCKS["letter_30"]
    made, _left = made_for([builders.blanket(label=code()) for _each in range(10)], stock)
    sheets = labels.arrange(made, stock=stock, base_url=BASE, start=24, copies=2)
    pages = pages_of(labels_pdf(sheets, stock=stock, as_of="now", shift=(15, -10)), tmp_path)
    found = [squares_on(page) for page in pages]
    assert [len(one) for one in found] == [7, 13]
    texts = [text for page in found for text, _x, _y in page]
    assert texts == [labels.address(one.code, base_url=BASE) for one in made for _copy in range(2)]
    _page, x, y = stock.place(0, start=24)
    quiet = stock.square.width * labels.QUIET_ZONE / 41
    assert abs(found[0][0][1] - (x + stock.square.x + quiet + 1.5)) < 0.5
    assert abs(found[0][0][2] - (y + stock.square.y + quiet - 1.0)) < 0.5
    top_of_used = int((y - 1.0) / 25.4 * 200)
    blank = pages[0].crop((0, int(12 / 25.4 * 200), pages[0].width, top_of_used))
    assert blank.getextrema() == (255, 255)


@pytest.mark.parametrize("name", ["letter_30", "a4_30", "roll_57x32"])
def test_the_test_strip_is_one_page_whose_squares_are_read_and_are_no_label(name, tmp_path, client):
    stock = STOCKS[name]
    pdf = strip_pdf(stock, as_of="14 SEP 2026", base_url=BASE)
    (page,) = pages_of(pdf, tmp_path)
    found = {text for text, _x, _y in squares_on(page)}
    assert found == {labels.address(labels.SAMPLE_CODE, base_url=BASE)}
    assert sizes_of(pdf) == [tuple(round(side, 1) for side in stock.page)]
    answer = client.get(f"/t/{labels.SAMPLE_CODE}").content.decode()
    assert "DO NOT USE" in answer


# Which items get a label


def test_what_gets_no_label_is_named_with_the_reason():
    stock = STOCKS["ground_tag"]
    rejected = builders.jumper("J-2", label=code())
    builders.happened(rejected, "rejected", reason="cut")
    items = [
        builders.jumper("J-1", label=code()),
        rejected,
        builders.glove("G-1", label=code()),
        builders.jumper("J-3"),
    ]
    made, left = made_for(items, stock)
    assert [one.item_no for one in made] == ["J-1"]
    assert {one.item_no: one.why.split(".")[0] for one in left} == {
        "J-2": "It is rejected or destroyed, so it gets no label",
        "G-1": "This stock is not meant for this kind of gear",
        "J-3": "It has no label code yet",
    }


def test_a_set_tag_is_for_pieces_of_a_set():
    made, left = made_for([builders.blanket("B-1", label=code())], STOCKS["set_tag"])
    assert made == []
    assert "belongs to no set" in left[0].why


def test_dates_can_be_left_off_and_never_stand_on_what_was_not_issued():
    new, worn = builders.blanket("B-1", label=code()), builders.blanket("B-2", label=code())
    builders.tested(new, worn, on=date(2026, 5, 4))
    builders.issued(worn, on=date(2026, 5, 5))
    items, stock = [new, worn], STOCKS["letter_30"]

    def lines(**wanted):
        return [{one.line.name for one in made.lines} for made in made_for(items, stock, **wanted)[0]]

    first, second = lines()
    assert "through" not in first
    first, second = lines(dates=False)
    assert "through" not in first | second
    assert "scan" in first & second


def test_an_address_too_long_for_the_square_is_refused_in_a_sentence():
    stock = STOCKS["letter_30"]
    assert labels.trouble_with(stock, base_url=BASE) == ""
    long = "https://" + "gear." * 26 + "example"
    assert "under 3 dots to a module at 200 dpi" in labels.trouble_with(stock, base_url=long)
    assert labels.trouble_with(STOCKS["bag_tag"], base_url=long) == ""


def test_demo_stands_on_every_label_of_a_demo():
    made, _left = made_for([builders.blanket("B-1", label=code())], STOCKS["roll_57x32"], demo=True)
    assert "DEMO: not real gear" in [one.line.text for one in made[0].lines]


def test_many_items_are_looked_at_with_as_many_queries_as_few():
    def queries_for(count):
        items = [one for _each in range(count) for one in builders.pair()]
        with CaptureQueriesContext(connection) as caught:
            made_for(items, STOCKS["letter_30"])
        return len(caught)

    assert queries_for(3) == queries_for(30)
