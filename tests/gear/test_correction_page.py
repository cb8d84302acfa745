"""Correcting an entry on its page: what it says, what the correction does to the answer, and who may record it."""

import re
from datetime import timedelta
from html import unescape
from uuid import uuid4

import pytest

from gear import queries
from gear.ledger.verify import verify
from gear.models import Entry, Item, ItemState, Refusal
from gear.rules import codes
from tests import builders
from tests.gear.act_forms import fields_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def blanket(cast):
    """In date, received by Ines, tested by Orla."""
    item = builders.blanket("B-1", by=cast.ines, maker="Northbay", serial="77")
    builders.tested(item, on=builders.today() - timedelta(days=30), by=cast.orla)
    return item


@pytest.fixture
def orla(client, cast):
    client.force_login(cast.orla)
    return client


def address(entry):
    return f"/entries/{entry.pk}/correct/"


def form_of(client, entry, **query):
    """The fields of the form as the browser would send them untouched."""
    return fields_in(client.get(address(entry), query).content.decode())


def send(client, entry, **changes):
    return client.post(address(entry), {**form_of(client, entry), "why": "typed wrong", **changes})


def confirm(client, entry, **changes):
    return send(client, entry, confirm="1", **changes)


def latest(item, kind):
    return item.entry_set.filter(kind=kind).latest("position")


# What it shows before anything is recorded


@pytest.mark.parametrize(("name", "status"), [("orla", 200), ("ines", 200), ("dev", 403), ("bertrand", 403),
                                              ("halvard", 403), ("pim", 403)])  # fmt: skip
def test_the_clerk_and_the_supervisor_correct(client, cast, blanket, name, status):
    client.force_login(getattr(cast, name))
    entry = latest(blanket, "tested")
    assert client.get(address(entry)).status_code == status
    if status == 403:
        assert client.post(address(entry), {"way": "withdraw", "why": "x", "confirm": "1"}).status_code == 403
        assert not Entry.objects.filter(kind="corrected").exists()


def test_a_preview_shows_both_answers_and_records_nothing(orla, blanket):
    response = send(orla, latest(blanket, "tested"), way="withdraw")
    page = unescape(response.content.decode())
    assert response.status_code == 200
    assert "GOOD THROUGH" in page
    assert "New, not tested. No accepted test is on file." in page
    assert "Record the correction" in page
    assert not Entry.objects.filter(kind="corrected").exists()


def test_what_is_sent_from_the_preview_is_what_was_looked_at(orla, cast, blanket):
    hold = builders.happened(blanket, "held", reason="odd smell", by=cast.dev)
    page = send(orla, hold, reason="odd smell, near the eyelet").content.decode()
    hidden = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', page))
    del hidden["csrfmiddlewaretoken"]
    response = orla.post(address(hold), {**hidden, "confirm": "1"})
    assert (response.status_code, response["Location"]) == (302, "/items/B-1/")
    correction = latest(blanket, "corrected")
    assert correction.facts["replacement"]["facts"]["reason"] == "odd smell, near the eyelet"
    assert (correction.facts["reason"], correction.corrects) == ("typed wrong", hold)


def test_the_original_stays_readable_beside_its_correction(orla, cast, blanket):
    note = builders.happened(blanket, "noted", note="eyelet bend", by=cast.orla)
    confirm(orla, note, note="eyelet bent")
    page = orla.get("/items/B-1/").content.decode()
    assert "eyelet bend" in page
    assert "eyelet bent" in page
    assert verify() == []


# Who may record what


def test_an_accepted_test_that_was_wrong_is_withdrawn_at_once_by_whoever_entered_it(orla, blanket):
    """FAULTS M07: an erroneous pass is `stop` from that moment."""
    assert confirm(orla, latest(blanket, "tested"), way="withdraw").status_code == 302
    assert queries.answer("B-1", queries.question()).verdict == "stop"


def test_what_makes_the_answer_better_needs_a_second_person(client, cast, blanket):
    hold = builders.happened(blanket, "held", reason="odd smell", by=cast.orla)
    client.force_login(cast.orla)
    page = send(client, hold, way="withdraw").content.decode()
    assert "it needs a second person" in page
    assert "Record the correction" not in page
    response = confirm(client, hold, way="withdraw")
    assert response.status_code == 422
    refusal = Refusal.objects.get()
    assert refusal.code == "SECOND_PERSON"
    assert refusal.detail in unescape(response.content.decode())
    client.force_login(cast.ines)
    assert "You are the second person" in send(client, hold, way="withdraw").content.decode()
    assert confirm(client, hold, way="withdraw").status_code == 302
    assert ItemState.objects.get(item=blanket).condition == "ok"


def test_sent_twice_it_is_recorded_once(orla, cast, blanket):
    note = builders.happened(blanket, "noted", note="eyelet bend", by=cast.dev)
    form = {**form_of(orla, note), "note": "eyelet bent", "why": "slip", "confirm": "1"}
    assert [orla.post(address(note), form).status_code for _time in range(2)] == [302, 302]
    assert str(Entry.objects.get(kind="corrected").pk) == form["id"]
    assert not Refusal.objects.exists()


# Kind by kind


def test_to_whom_and_when_it_was_issued(orla, cast, blanket):
    dev, marisol = builders.holder("person", "Dev"), builders.holder("person", "Marisol")
    entry = builders.issued(blanket, to=dev, by=cast.orla)[0]
    form = form_of(orla, entry)
    assert form["to"] == str(dev.pk)
    before = builders.today() - timedelta(days=3)
    confirm(orla, entry, to=marisol.pk, happened_on=before.isoformat())
    state = ItemState.objects.get(item=blanket)
    assert (state.holder, state.first_issued_on) == (marisol, before)


def test_a_holder_that_is_out_of_use_can_still_stand(orla, cast, blanket):
    truck = builders.holder("truck", "T-1", active=False)
    entry = builders.happened(blanket, "moved", holder=truck.as_fact(), by=cast.orla)
    assert form_of(orla, entry)["to"] == str(truck.pk)


@pytest.mark.parametrize(
    ("kind", "facts", "changes", "stated"),
    [
        ("event", {"event": "dropped"}, {"event": "flash_or_contact", "note": "pole 14"},
         {"event": "flash_or_contact", "note": "pole 14"}),
        ("held", {"reason": "smell"}, {"reason": "smell of oil"}, {"reason": "smell of oil"}),
        ("rejected", {"reason": "cut"}, {"reason": "cut at the edge"}, {"reason": "cut at the edge"}),
        ("lost", {"reason": "gone"}, {"reason": "gone since Monday"}, {"reason": "gone since Monday"}),
        ("needs_cleaning", {"reason": "mud"}, {"reason": "oil"}, {"reason": "oil"}),
        ("sent_for_test", {"reason": "due"}, {"reason": "called in"}, {"reason": "called in"}),
        ("inspected", {"outcome": "clean", "scope": "pre_use", "words": ["mud"]},
         {"outcome": "reject", "words": ["cut"]}, {"outcome": "reject", "scope": "pre_use", "words": ["cut"]}),
        ("noted", {"note": "bend"}, {"note": "bent"}, {"note": "bent"}),
    ],
)  # fmt: skip
def test_what_an_entry_should_have_said(orla, cast, blanket, kind, facts, changes, stated):
    entry = builders.happened(blanket, kind, by=cast.dev, **facts)
    assert confirm(orla, entry, **changes).status_code == 302
    assert latest(blanket, "corrected").facts["replacement"]["facts"] == {"v": 1, **stated}
    assert verify() == []


def test_a_look_that_found_a_listed_defect_is_not_corrected_to_something_milder(orla, cast, blanket):
    entry = builders.happened(
        blanket, "inspected", outcome="clean", scope="pre_use", words=["mud"], by=cast.dev
    )
    response = send(orla, entry, outcome="accept", words=["cut"])
    assert response.status_code == 422
    assert "One of the words asks for more than this." in response.content.decode()


def test_what_was_received_is_corrected_and_lists_follow(orla, cast, blanket):
    entry = latest(blanket, "received")
    changes = {"class": "3", "serial": "78", "lot": "L-4", "made_on": "2023-05-01", "size": "36 x 36"}
    assert confirm(orla, entry, **changes).status_code == 302
    item = Item.objects.select_related("item_type").get(item_no="B-1")
    assert (item.item_type.cls, item.item_type.size, item.item_type.maker) == ("3", "36 x 36", "Northbay")
    assert (item.serial, item.lot, item.made_on.isoformat()) == ("78", "L-4", "2023-05-01")
    identity = ItemState.objects.get(item=item).facts["identity"]
    assert (identity["class"], identity["serial"]) == ("3", "78")
    codes = [reason.code for reason in queries.answer("B-1", queries.question()).reasons]
    assert codes == ["JUDGED_AS_OTHER"]  # its test was of a class 2 blanket


def test_a_piece_that_was_received_as_another_kind(orla, cast, blanket):
    entry = latest(blanket, "received")
    assert f"{address(entry)}?kind=hood" in orla.get(address(entry)).content.decode()
    form = form_of(orla, entry, kind="hood")
    assert form["kind"] == "hood"
    response = orla.post(address(entry), {**form, "class": "2", "why": "it is a hood", "confirm": "1"})
    assert response.status_code == 302
    assert Item.objects.get(item_no="B-1").item_type.kind == "hood"


def test_the_day_of_receipt(orla, cast, blanket):
    entry = latest(blanket, "received")
    confirm(orla, entry, happened_on="2023-12-01")
    facts = ItemState.objects.get(item=blanket).facts
    assert facts["received_on"] == "2023-12-01"


def test_the_readings_of_a_test_are_corrected_on_a_page_of_their_own(orla, blanket):
    bare = latest(blanket, "tested")
    assert "/tests/" not in re.findall(r'href="([^"]*correct/)"', orla.get(address(bare)).content.decode())
    full = builders.tested(builders.blanket("B-2"), readings={"supply": "ac"})[0]
    assert f'href="/tests/{full.pk}/correct/"' in orla.get(address(full)).content.decode()


# Corrections of corrections


def test_what_was_withdrawn_can_count_again(client, cast, blanket):
    entry = latest(blanket, "tested")
    client.force_login(cast.orla)
    confirm(client, entry, way="withdraw")
    page = client.get(address(entry)).content.decode()
    assert "This test was withdrawn. It counts again only when its readings are judged again." in page
    assert 'name="why"' not in page
    note = builders.happened(blanket, "noted", note="bend", by=cast.orla)
    confirm(client, note, way="withdraw")
    assert "Make it count again" in client.get(address(note)).content.decode()
    assert confirm(client, note).status_code == 302
    assert latest(blanket, "corrected").facts["replacement"]["facts"]["note"] == "bend"


def test_a_second_correction_starts_from_the_first(orla, cast, blanket):
    note = builders.happened(blanket, "noted", note="bend", by=cast.dev)
    confirm(orla, note, note="bent")
    form = form_of(orla, note)
    assert form["note"] == "bent"
    assert confirm(orla, note, note="bend").status_code == 302  # back to what was first entered


# What is refused


@pytest.mark.parametrize("kind", ["labelled", "joined_set", "corrected"])
def test_some_entries_are_not_corrected_here(orla, cast, kind):
    left, _right = builders.pair()
    builders.happened(left, "labelled", code="2C4T9KXFPW" + codes.check_symbol("2C4T9KXFPW"))
    note = builders.happened(left, "noted", note="bend", by=cast.dev)
    confirm(orla, note, note="bent")
    page = unescape(orla.get(address(latest(left, kind))).content.decode())
    assert "An entry of this kind cannot be corrected here." in page
    assert 'name="why"' not in page


def test_after_destruction_nothing_is_corrected(orla, blanket):
    entry = latest(blanket, "tested")
    form = {**form_of(orla, entry), "way": "withdraw", "why": "x", "confirm": "1"}
    builders.happened(blanket, "rejected", reason="cut")
    builders.happened(blanket, "destroyed", reason="cut up", witness="ines")
    assert "This item was destroyed." in orla.post(address(entry), form).content.decode()
    assert not Entry.objects.filter(kind="corrected").exists()


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({}, "This correction changes nothing."),
        ({"reason": "oil", "why": ""}, "This field is required."),
        ({"reason": ""}, "This field is required."),
        ({"way": "delete"}, "Select a valid choice."),
        ({"happened_on": "2999-01-01"}, "is not a date"),
        ({"happened_on": ""}, "This field is required."),
        ({"reason": "x" * 501}, "is longer than 500 characters"),
        ({"reason": "oil", "id": "1"}, "Enter a valid UUID."),
    ],
)
def test_what_cannot_be_is_told_and_not_recorded(orla, cast, blanket, changes, sentence):
    hold = builders.happened(blanket, "held", reason="smell", by=cast.dev)
    response = confirm(orla, hold, **changes) if changes else send(orla, hold)
    assert response.status_code == 422
    assert sentence in unescape(response.content.decode())
    assert not Entry.objects.filter(kind="corrected").exists()


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"class": "7"}, "Select a valid choice."),
        ({"made_on": "2999-01-01"}, "Made on is not a date"),
        ({"made_on": "2024-06-01"}, "lies before"),
        ({"serial": "99"}, "The serial 99 of this maker and hand belongs to B-9 already."),
        ({"size": "x" * 21}, "Size is longer than 20 characters."),
    ],
)
def test_what_an_item_cannot_be_is_told_beside_its_field(orla, cast, blanket, changes, sentence):
    builders.blanket("B-9", maker="Northbay", serial="99")
    response = confirm(orla, latest(blanket, "received"), **changes)
    assert response.status_code == 422
    assert sentence in unescape(response.content.decode())
    assert not Entry.objects.filter(kind="corrected").exists()


def test_a_day_ahead_is_refused(orla, cast, blanket):
    hold = builders.happened(blanket, "held", reason="smell", by=cast.dev)
    tomorrow = builders.today() + timedelta(days=1)
    response = send(orla, hold, happened_on=tomorrow.isoformat())
    assert "lies in the future" in response.content.decode()


def test_who_withdraws_need_not_fill_in_what_it_should_have_said(orla, cast, blanket):
    builders.happened(blanket, "rejected", reason="cut", by=cast.dev)
    note = builders.happened(blanket, "noted", note="bend", by=cast.dev)
    assert confirm(orla, note, way="withdraw", note="", happened_on="nonsense").status_code == 302


def test_entries_of_the_site_and_entries_that_are_not_there_are_no_page(orla, cast):
    from gear.ledger import Draft, record

    site = record(Draft(None, "person_changed", {"person": "dev", "change": "added"}), by=None, via="system")
    assert orla.get(address(site)).status_code == 404
    assert orla.get(f"/entries/{uuid4()}/correct/").status_code == 404
