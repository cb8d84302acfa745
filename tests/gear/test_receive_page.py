"""Receiving one piece of each kind on a page: its own fields, every refusal beside its field, a label code at once."""

import re
from datetime import timedelta
from uuid import uuid4

import pytest

from gear import queries
from gear.actions.receipt import FIELDS, needed
from gear.forms.receiving import LABELS, OWN, ReceiveForm
from gear.models import KIND_NAMES, Entry, Item, Refusal
from gear.queries.picking import next_item_no
from gear.rules import codes
from gear.rules.gearbook import BELONGS
from tests import builders

pytestmark = pytest.mark.django_db
NEW = "/receive/"
EACH = {
    "glove": {"class": "2", "hand": "L", "size": "10", "length_mm": "360", "type": "I", "colour": "red"},
    "sleeve": {"class": "2", "hand": "R", "size": "L", "type": "II"},
    "blanket": {"class": "4", "size": "36 x 36", "type": "II"},
    "line_hose": {"class": "2", "length_mm": "910"},
    "hood": {"class": "3"},
    "rigid_cover": {"class": "4", "rated_kv": "36"},
    "grounding_jumper": {
        "cable_size": "2/0",
        "cable_length_m": "3.048",
        "clamp_grade": "5",
        "ferrule_grade": "5H",
    },
    "live_line_tool": {"length_mm": "2400"},
    "voltage_detector": {"rated_kv": "40"},
    "protector": {"hand": "L", "size": "10"},
}


@pytest.fixture
def orla(client, cast):
    client.force_login(cast.orla)
    return client


def send(client, kind, **changes):
    fields = {"id": str(uuid4()), "kind": kind, "item_no": "X-1", **EACH.get(kind, {})}
    return client.post(NEW, {**fields, **changes})


def test_the_kind_is_chosen_first(orla):
    page = orla.get(NEW).content.decode()
    for kind, word in KIND_NAMES.items():
        assert f'href="/receive/?kind={kind}">{word}</a>' in page
    assert 'name="id"' not in page


# FEATURES 1: one of each kind; fields of another kind are not asked and not taken
@pytest.mark.parametrize("kind", KIND_NAMES)
def test_one_of_each_kind_is_received(orla, cast, kind):
    page = orla.get(NEW, {"kind": kind}).content.decode()
    asked = set(re.findall(r'name="(\w+)"', page)) & set(FIELDS)
    assert asked == {"kind", "item_no", *OWN[kind], "serial", "maker", "model", "lot", "made_on", "marked_expiry_on",
                     "received_on", "holder"}  # fmt: skip
    response = send(orla, kind, serial="77", maker="Northbay")
    assert (response.status_code, response["Location"]) == (302, "/receive/?done=X-1")
    identity = Entry.objects.get(kind="received").facts["identity"]
    stated = {name: value for name, value in identity.items() if value is not None}
    wanted = {**EACH[kind], "kind": kind, "serial": "77", "maker": "Northbay"}
    assert {name: str(value) for name, value in stated.items()} == wanted
    answer = queries.answer("X-1", queries.question())
    assert answer.verdict == "stop", "nothing is good before it was tested or looked at"


@pytest.mark.parametrize("kind", KIND_NAMES)
def test_the_form_asks_for_nothing_that_the_book_would_refuse_and_for_all_that_is_needed(kind):
    for name in OWN[kind]:
        assert kind in BELONGS.get(name, {kind})
        assert name in LABELS
    assert set(needed(kind)) <= {"item_no", "kind", *OWN[kind]}


def test_after_receipt_the_label_code_is_shown_with_the_way_to_print_it(orla):
    page = orla.get(send(orla, "glove")["Location"]).content.decode()
    code = codes.grouped(Entry.objects.get(kind="labelled").facts["code"])
    assert code in page
    assert 'href="/items/X-1/label/"' in page
    assert "New, not tested." in page
    assert "/tests/new/?item=X-1" in page


def test_sent_twice_it_is_received_once(orla):
    form = {"id": str(uuid4())}
    first, again = send(orla, "glove", **form), send(orla, "glove", **form)
    assert first["Location"] == again["Location"]
    assert str(Entry.objects.get(kind="received").pk) == form["id"]
    other = send(orla, "glove", **form, size="11")
    assert other.status_code == 422
    assert "sent before with other content" in other.content.decode()
    assert Item.objects.count() == 1


def test_another_like_it_starts_from_what_they_share(orla):
    glove = builders.glove("G-0099", serial="77", maker="Northbay", lot="L-4", colour="red", size="9.5")
    page = orla.get(NEW, {"like": glove.item_no}).content.decode()
    for shared in ("Northbay", "L-4", "red", "9.5", "360"):
        assert f'value="{shared}"' in page
    assert 'name="item_no" value="G-0100"' in page
    assert 'value="77"' not in page
    assert orla.get(NEW, {"like": "G-404"}).status_code == 404


def test_it_lies_on_the_shelf_that_was_chosen(orla):
    shelf = builders.holder("shelf", "Shelf 3")
    builders.holder("truck", "T-12")
    page = orla.get(NEW, {"kind": "hood"}).content.decode()
    assert 'value="Shelf 3"' in page
    assert "T-12" not in page
    send(orla, "hood", holder="Shelf 3")
    assert Item.objects.get().state.holder == shelf
    assert send(orla, "hood", item_no="X-2", holder="T-12").status_code == 422


def test_a_clerk_of_one_depot_is_offered_its_shelves(client, cast):
    builders.holder("shelf", "Shelf 3")
    builders.holder("shelf", "Far shelf", depot=builders.depot("Far depot"))
    cast.orla.depot = cast.depot
    cast.orla.save()
    client.force_login(cast.orla)
    page = client.get(NEW, {"kind": "hood"}).content.decode()
    assert "Shelf 3" in page
    assert "Far shelf" not in page


@pytest.mark.parametrize(
    ("kind", "field", "typed", "sentence"),
    [
        ("glove", "item_no", "", "This field is required."),
        ("glove", "item_no", "G 1", "Item number may hold letters, digits"),
        ("glove", "length_mm", "", "This field is required."),
        ("glove", "length_mm", "14", "Length, mm looks like another unit: 14. Give it in mm."),
        ("glove", "length_mm", "36O", "Length, mm is not a whole number: 36O."),
        ("glove", "length_mm", "-360", "Length, mm cannot be negative: -360."),
        ("glove", "class", "", "This field is required."),
        ("glove", "class", "5", "Select a valid choice."),
        ("glove", "hand", "", "This field is required."),
        ("glove", "hand", "left", "Select a valid choice."),
        ("glove", "size", "1" * 21, "Size is longer than 20 characters."),
        ("glove", "serial", "a\u200bb", "Serial holds a character that cannot be seen."),
        ("glove", "made_on", "2999-01-01", "Made on is not a date"),
        ("glove", "made_on", "14/09/2026", "Made on is not a date like 2026-09-14: 14/09/2026."),
        ("rigid_cover", "class", "00", "Select a valid choice."),
        ("rigid_cover", "rated_kv", "NaN", "Rated, kV is not a plain number: NaN."),
        ("grounding_jumper", "cable_length_m", "0", "Cable length between clamps, m is out of range: 0"),
        ("grounding_jumper", "cable_length_m", "3048", "is out of range: 3048"),
        ("grounding_jumper", "cable_size", "", "This field is required."),
        ("grounding_jumper", "clamp_grade", "9", "Select a valid choice."),
    ],
)
def test_what_cannot_be_is_told_beside_its_field(orla, kind, field, typed, sentence):
    response = send(orla, kind, **{field: typed})
    assert response.status_code == 422
    assert sentence in response.content.decode()
    assert not Item.objects.exists()
    assert not Entry.objects.exists()


def test_days_that_cannot_be_are_told(orla):
    today = builders.today()
    tomorrow, before = today + timedelta(days=1), today - timedelta(days=1)
    page = send(orla, "hood", received_on=tomorrow.isoformat()).content.decode()
    assert f"Received on lies in the future: {tomorrow}" in page
    page = send(orla, "hood", made_on=today.isoformat(), received_on=before.isoformat()).content.decode()
    assert "Received on" in page
    assert "lies before" in page
    assert Refusal.objects.filter(act="receive", code="BAD_RECEIPT").count() == 2


def test_a_number_or_serial_that_is_in_the_book_is_refused(orla):
    send(orla, "glove", serial="77", maker="Northbay")
    page = send(orla, "glove").content.decode()
    assert "Item number X-1 is in the book already." in page
    page = send(orla, "glove", item_no="X-2", serial="77", maker="Northbay").content.decode()
    assert "Serial 77 of this maker and hand belongs to X-1 already." in page
    assert send(orla, "glove", item_no="X-2", serial="77", maker="Northbay", hand="R").status_code == 302


def test_a_field_of_another_kind_is_not_taken(orla):
    send(orla, "blanket", cable_size="2/0", hand="L")
    identity = Entry.objects.get(kind="received").facts["identity"]
    assert identity["cable_size"] is None
    assert identity["hand"] is None


@pytest.mark.parametrize("kind", ["", "boot"])
def test_without_a_kind_nothing_is_recorded(orla, kind):
    response = orla.post(NEW, {"id": str(uuid4()), "kind": kind, "item_no": "X-1"})
    assert response.status_code == 422
    assert "Choose what kind of gear it is." in response.content.decode()
    assert 'name="id"' not in orla.get(NEW, {"kind": kind}).content.decode()


@pytest.mark.parametrize("name", ["dev", "bertrand", "ines", "halvard", "pim"])
def test_only_the_clerk_receives(client, cast, name):
    client.force_login(getattr(cast, name))
    assert client.get(NEW).status_code == 403
    assert send(client, "glove").status_code == 403
    assert not Item.objects.exists()


def test_all_that_is_needed_is_asked_for_at_once(cast):
    form = ReceiveForm({"id": str(uuid4())}, kind="grounding_jumper", by=cast.orla)
    assert {"item_no", "cable_size", "cable_length_m"} <= form.errors.keys()


@pytest.mark.parametrize(
    ("last", "following"),
    [("G-0099", "G-0100"), ("G-999", "G-1000"), ("X9", "X10"), ("GLOVE", ""), ("G-1a", "")],
)
def test_the_next_number_is_the_next_free_one(db, last, following):
    builders.blanket(last)
    assert next_item_no(last) == following
