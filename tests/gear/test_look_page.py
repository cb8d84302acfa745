"""The page on which a piece is looked at: scanned, four outcomes, words and places of its kind, then the next."""

import random
import re
from datetime import timedelta

import pytest
from django.test import Client

from gear.models import GivenAnswer
from gear.rules import codes, places_on, visual
from gear.rules.readiness import KINDS
from tests import builders
from tests.gear.act_forms import condition, fields_in, send, told
from tests.gear.policy_pages import signed_in

pytestmark = pytest.mark.django_db
PAGE = "/looks/new/"
CODE = codes.new_code(random.Random(7))


@pytest.fixture
def orla(cast) -> Client:
    return signed_in(cast.orla)


def form_of(client, item):
    """What the browser would send of the page of a piece, untouched."""
    fields = fields_in(client.get(PAGE, {"item": item.item_no}).content.decode())
    return {**fields, "item_no": item.item_no}


def test_the_page_asks_for_a_piece_and_says_what_waits(orla):
    dirty = builders.blanket("B-77")
    builders.happened(dirty, "needs_cleaning", reason="mud")
    builders.blanket("B-78")
    page = orla.get(PAGE).content.decode()
    assert 'name="item"' in page
    assert re.search(r"Needs cleaning</strong></a> <span>1</span>", page)
    assert 'href="/?q=Needs+cleaning"' in page
    listed = orla.get("/", {"q": "Needs cleaning"}).content.decode()
    assert "B-77" in listed
    assert "B-78" not in listed


@pytest.mark.parametrize("typed", ["B-1", "b-1", CODE, "SN-77"])
def test_a_piece_is_taken_by_number_label_or_serial(orla, typed):
    builders.blanket("B-1", label=CODE, serial="SN-77")
    page = orla.get(PAGE, {"item": typed})
    assert page.status_code == 200
    assert 'name="outcome"' in page.content.decode()


def test_what_is_not_in_the_book_is_told_as_typed(orla):
    page = orla.get(PAGE, {"item": "B-<99>"})
    assert page.status_code == 404
    assert "B-&lt;99&gt;" in page.content.decode()


@pytest.mark.parametrize("kind", KINDS)
def test_the_page_offers_every_word_and_place_of_the_kind_and_four_outcomes(orla, kind):
    piece = builders.item(kind, cls="2", hand="L" if kind in ("glove", "sleeve") else "")
    page = orla.get(PAGE, {"item": piece.item_no}).content.decode()
    offered = {
        name: set(re.findall(rf'name="{name}" value="([^"]+)"', page))
        for name in ("outcome", "words", "parts", "side")
    }
    assert offered["outcome"] == set(visual.OUTCOMES)
    assert offered["words"] == set(visual.words_for(kind))
    assert offered["parts"] == set(places_on.parts_of(kind))
    assert offered["side"] == set(places_on.sides_of(kind))
    assert set(re.findall(r'data-part="([^"]+)"', page)) == set(places_on.parts_of(kind))


@pytest.mark.parametrize("kind", KINDS)
def test_every_word_is_taken_with_the_outcome_that_it_asks_for(orla, kind):
    piece = builders.item(kind, cls="2", hand="L" if kind in ("glove", "sleeve") else "")
    for word in visual.words_for(kind):
        fields = {**form_of(orla, piece), "outcome": visual.WORDS[word][0], "words": [word]}
        assert orla.post(PAGE, fields).status_code == 302, word
        assert piece.entry_set.order_by("-position").first().facts["words"] == [word]


def test_a_look_is_recorded_with_its_place_and_the_next_piece_is_asked_for(orla):
    piece = builders.glove("G-7")
    fields = form_of(orla, piece) | {
        "outcome": "reject",
        "words": ["cut"],
        "parts": ["palm", "finger_3"],
        "side": "inside",
    }
    answer = orla.post(PAGE, fields)
    assert (answer.status_code, answer.url) == (302, f"{PAGE}?done=G-7")
    assert "/rejects/red-tags.pdf?item=G-7" in orla.get(answer.url).content.decode()
    assert "STOP" in told(answer)[0]
    assert piece.entry_set.get(kind="inspected").facts["place"] == "inside:finger_3,palm"
    page = orla.get("/items/G-7/").content.decode()
    assert "finger 3, palm (inside)" in page
    assert re.findall(r'class="part marked" data-part="(\w+)"', page) == ["finger_3", "palm"]


def test_sent_twice_it_is_recorded_once(orla):
    piece = builders.blanket()
    fields = form_of(orla, piece) | {"outcome": "test"}
    orla.post(PAGE, fields)
    assert "before, once" in told(orla.post(PAGE, fields))[-1]
    assert piece.entry_set.filter(kind="inspected").count() == 1


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"outcome": ""}, "This field is required"),
        ({"outcome": "monitor"}, "not one of the available choices"),
        ({"outcome": "accept", "words": ["cut"]}, "asks for more"),
        ({"outcome": "reject", "parts": ["palm"]}, "not one of the available choices"),
        ({"outcome": "reject", "side": "face_a"}, "on which part as well"),
    ],
)
def test_what_cannot_be_is_told_and_nothing_recorded(orla, more, sentence):
    piece = builders.blanket()
    answer = orla.post(PAGE, form_of(orla, piece) | more)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert not piece.entry_set.filter(kind="inspected").exists()


def test_a_dirty_piece_asks_whether_it_was_cleaned(orla):
    piece = builders.blanket()
    builders.happened(piece, "needs_cleaning", reason="mud", on=builders.today() - timedelta(days=1))
    fields = form_of(orla, piece) | {"outcome": "accept"}
    assert "Clean it" in orla.post(PAGE, fields).content.decode()
    assert condition(piece) == "needs_cleaning"
    assert orla.post(PAGE, {**fields, "cleaned": "on"}).status_code == 302
    assert condition(piece) == "ok"
    assert 'name="cleaned"' not in orla.get(PAGE, {"item": piece.item_no}).content.decode()


def test_a_destroyed_piece_has_no_form_and_the_scan_is_kept_for_the_supervisor(orla):
    piece = builders.blanket()
    builders.happened(piece, "rejected", reason="cut")
    builders.happened(piece, "destroyed", reason="cut up", witness="dev")
    page = orla.get(PAGE, {"item": piece.item_no}).content.decode()
    assert 'name="outcome"' not in page
    assert "was destroyed" in page
    assert "DESTROYED" in GivenAnswer.objects.get(item=piece).reasons


def test_the_qualification_of_whoever_looks_is_told(orla, cast):
    piece = builders.blanket()
    assert "not on file" in orla.get(PAGE, {"item": piece.item_no}).content.decode()


def test_the_worker_gives_the_place_before_use_too(cast):
    dev, glove = signed_in(cast.dev), builders.glove()
    answer = send(dev, glove, "inspect_before_use", outcome="reject", words=["tear"], parts=["back"], side="")
    assert answer.status_code == 302
    assert glove.entry_set.get(kind="inspected").facts["place"] == "back"


def test_a_repair_is_recorded_on_the_page_of_the_piece(orla, cast):
    hose = builders.item("line_hose", cls="2", length_mm=900)
    builders.happened(hose, "sent_for_repair", reason="nick at one end")
    page = orla.get(f"/items/{hose.item_no}/do/record_repair/").content.decode()
    assert "Cut shorter so that the defect is removed" in page
    assert send(orla, hose, "record_repair", done="cut behind the nick", length_mm="840").status_code == 302
    assert "New length" in orla.get(f"/items/{hose.item_no}/").content.decode()
    assert condition(hose) == "out_for_repair"
