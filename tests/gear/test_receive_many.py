"""Sixty pairs as one act: shown row by row, received whole or not at all, and stopped until they are tested."""

import re
from datetime import date
from uuid import UUID

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gear import queries
from gear.actions import custody
from gear.actions.acting import Act, Refused
from gear.actions.delivery import BadBatch, plan, receive_batch
from gear.ledger import verify
from gear.models import Entry, GearSet, Item, ItemState, Label, Refusal
from gear.permissions import NotAllowed
from gear.queries.labelling import batch_of, never_printed
from gear.rules.delivery import Delivery
from tests import builders

pytestmark = pytest.mark.django_db
PAGE = "/receive/batch/"
GLOVES = {"class": "2", "size": "10", "length_mm": "360", "type": "I", "maker": "Northbay", "lot": "L-77"}
JUMPERS = {"cable_size": "2/0", "cable_length_m": "3.048", "clamp_grade": "5", "ferrule_grade": "5"}


def pairs(count=3, **changes):
    usual = {
        "kind": "glove",
        "count": count,
        "first_no": "G-0998",
        "pieces": "pairs",
        "set_no": "P-001",
        "shared": GLOVES,
        "serials": "range",
        "first_serial": "A0991",
        "last_serial": f"A{990 + count:04d}",
    }
    return Delivery(**{**usual, **changes})


def grounds(count=6, **changes):
    usual = {"kind": "grounding_jumper", "count": count, "first_no": "J-01", "per_set": 3, "set_no": "S-01"}
    return Delivery(**{**usual, "shared": JUMPERS, **changes})


def blankets(count=4, **changes):
    usual = {
        "kind": "blanket",
        "count": count,
        "first_no": "B-01",
        "shared": {"class": "4", "size": "36 x 36"},
    }
    return Delivery(**{**usual, **changes})


# What is made


def test_pairs_are_made_mated_labelled_and_lie_on_a_shelf(cast):
    act = Act(cast.orla)
    items = receive_batch(pairs(), papers="maker's test sheet 14", act=act)
    assert [item.item_no for item in items] == ["G-0998", "G-0999", "G-1000", "G-1001", "G-1002", "G-1003"]
    assert [item.hand for item in items] == ["L", "R"] * 3
    assert [item.serial for item in items] == ["A0991", "A0991", "A0992", "A0992", "A0993", "A0993"]
    assert {item.item_type for item in items} == {items[0].item_type}
    states = ItemState.objects.filter(item__in=items).order_by("item__item_no")
    assert {(one.condition, one.holder.kind, one.usable_now) for one in states} == {("ok", "shelf", False)}
    assert list(GearSet.objects.order_by("set_no").values_list("set_no", "kind", "required")) == [
        ("P-001", "pair", 2), ("P-002", "pair", 2), ("P-003", "pair", 2),
    ]  # fmt: skip
    assert Label.objects.count() == 6
    received = Entry.objects.filter(kind="received")
    assert {entry.facts["batch"] for entry in received} == {str(act.id)}
    assert {entry.facts["note"] for entry in received} == {"maker's test sheet 14"}
    assert {entry.by for entry in received} == {cast.orla}
    assert verify.verify() == []


@pytest.mark.parametrize(
    "batch", [pairs(), grounds(), blankets(), pairs(kind="sleeve")], ids=lambda one: one.kind
)
def test_nothing_received_can_be_issued_before_its_first_test(cast, batch):
    items = receive_batch(batch, papers="maker's test, all accepted", act=Act(cast.orla))
    assert len(items) == batch.total
    dev = builders.holder("person", "Dev")
    for answer in queries.answers([item.item_no for item in items], queries.question()):
        assert answer.verdict == "stop"
        assert "NEVER_TESTED" in {reason.code for reason in answer.reasons}
    for item in items:
        with pytest.raises(Refused) as refused:
            custody.issue([item], to=dev, act=Act(cast.orla))
        assert refused.value.code == "NOT_GOOD"


def test_jumpers_are_received_as_grounding_sets(cast):
    receive_batch(grounds(), act=Act(cast.orla))
    assert list(GearSet.objects.order_by("set_no").values_list("set_no", "kind", "required")) == [
        ("S-01", "grounding", 3),
        ("S-02", "grounding", 3),
    ]


# What is refused, and where


@pytest.mark.parametrize(
    ("batch", "line", "code"),
    [
        (pairs(first_no="G-7"), 1, "IN_BOOK"),
        (pairs(first_no="G-0O1"), 2, "LOOKS_LIKE_IN_BOOK"),
        (pairs(last_serial="A0992"), 5, "SERIAL_SHORT"),
        (pairs(last_serial="A0994"), 7, "SERIAL_LEFT"),
        (pairs(first_serial="T1", last_serial="T3"), 3, "SERIAL_IN_BOOK"),
        (pairs(set_no="P-7"), 1, "SET_IN_BOOK"),
        (pairs(shared={**GLOVES, "class": ""}), 0, "MISSING"),
        (pairs(shared={**GLOVES, "length_mm": "14"}), 0, "UNIT"),
        (pairs(shared={**GLOVES, "made_on": "2126-01-01"}), 0, "NOT_A_DATE"),
        (pairs(shared={**GLOVES, "holder": "Rack 9"}), 0, "NO_SUCH_SHELF"),
        (pairs(pieces=""), 0, "MISSING"),
        (blankets(shared={"size": "36 x 36"}), 0, "MISSING"),
        (grounds(count=7), 0, "SETS_NOT_WHOLE"),
    ],
)
def test_one_bad_row_refuses_all_and_is_named(cast, batch, line, code):
    builders.glove("G-7")
    builders.glove("G-002")
    left, right = builders.glove("X-1", serial="T2", maker="Northbay"), builders.glove("X-2", hand="R")
    builders.gather(left, right, set_no="P-7")
    before = Entry.objects.count()
    with pytest.raises(BadBatch) as refused:
        receive_batch(batch, act=Act(cast.orla))
    assert (line, code) in [(one.line, one.code) for one in refused.value.problems]
    assert Entry.objects.count() == before
    assert Item.objects.count() == 4
    assert Refusal.objects.get().code == "BAD_BATCH"


@pytest.mark.parametrize("who", ["dev", "bertrand", "ines", "halvard", "pim"])
def test_only_clerks_receive(cast, who):
    for do in (plan, receive_batch):
        with pytest.raises(NotAllowed):
            do(pairs(), act=Act(getattr(cast, who)))
    assert not Item.objects.exists()


def test_more_pieces_cost_no_more_queries(cast):
    def queries_for(first, count):
        with CaptureQueriesContext(connection) as caught:
            receive_batch(blankets(count, first_no=first), act=Act(cast.orla))
        return len(caught)

    queries_for("B-0001", 5)
    # SQLite takes some 60 entries in one statement; nothing is asked row by row.
    assert queries_for("B-2001", 60) <= queries_for("B-1001", 5) + 5


# The page


@pytest.fixture
def orla(client, cast):
    client.force_login(cast.orla)
    return client


def fields_of(page):
    """What the form sends untouched."""
    form = page[page.index('<form method="post" class="fields wide"') :]
    sent = dict(re.findall(r'<input type="(?:hidden|text|date)" name="(\w+)"(?: value="([^"]*)")?', form))
    sent |= dict(re.findall(r'<input type="radio" name="(\w+)" value="([^"]*)"[^>]* checked', form))
    for name, options in re.findall(r'<select name="(\w+)"[^>]*>(.*?)</select>', form, re.S):
        chosen = re.search(r'value="([^"]*)"[^>]*selected', options)
        sent[name] = chosen[1] if chosen else ""
    return {name: value for name, value in sent.items() if name not in ("csrfmiddlewaretoken", "next")}


def sixty(orla, **changes):
    fresh = fields_of(orla.get(PAGE, {"kind": "glove"}).content.decode())
    own = {"count": "60", "first_serial": "A0991", "last_serial": "A1050", "first_no": "G-00101"}
    return {**fresh, **GLOVES, **own, "serial_list": "", **changes}


def test_the_page_proposes_pairs_free_numbers_and_today(orla):
    builders.pair()
    builders.glove("G-00099")
    fresh = fields_of(orla.get(PAGE, {"kind": "glove"}).content.decode())
    assert fresh["pieces"] == "pairs"
    assert fresh["first_no"] == "G-00100"
    assert fresh["batch_set_no"] == "P-00002"
    assert fresh["received_on"] == builders.today().isoformat()
    assert UUID(fresh["id"])
    assert orla.get(PAGE).url == "/receive/"


def test_sixty_pairs_are_shown_received_once_and_lead_to_their_labels(orla):
    form = sixty(orla)
    shown = orla.post(PAGE, {**form, "do": "show"})
    page = shown.content.decode()
    assert shown.status_code == 200
    assert not Item.objects.exists()
    assert page.count('<th scope="row">G-') == 120
    assert "Receive 120 pieces" in page
    form["plan"] = re.search(r'name="plan" value="(\w+)"', page)[1]
    received = orla.post(PAGE, {**form, "do": "receive"})
    assert received.status_code == 302
    assert received.url == f"/labels/?which=batch&batch={form['id']}"
    again = orla.post(PAGE, {**form, "do": "receive"})
    assert again.url == received.url
    assert Item.objects.count() == 120
    assert len(batch_of(UUID(form["id"])).item_nos) == 120
    assert "120 labels, sheets: 4" in orla.get(received.url).content.decode()
    assert never_printed().count() == 120


def test_another_batch_than_the_one_shown_is_shown_first(orla):
    form = sixty(orla, count="2", last_serial="A0992")
    page = orla.post(PAGE, {**form, "do": "show"}).content.decode()
    form["plan"] = re.search(r'name="plan" value="(\w+)"', page)[1]
    changed = orla.post(PAGE, {**form, "do": "receive", "size": "11"})
    assert "another batch than the one that was shown" in changed.content.decode()
    assert not Item.objects.exists()
    unseen = orla.post(PAGE, {**form, "do": "receive", "plan": ""})
    assert "another batch than the one that was shown" in unseen.content.decode()
    assert not Item.objects.exists()


def test_a_row_that_is_taken_is_named_and_nothing_is_received(orla):
    builders.glove("G-00104")
    response = orla.post(PAGE, {**sixty(orla, count="3", last_serial="A0993"), "do": "receive"})
    page = response.content.decode()
    assert response.status_code == 422
    assert (
        "Line 4: First item number G-00104 is in the book already" in page
        or "Line 4: Item number G-00104" in page
    )
    assert Item.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"length_mm": "14"}, "length_mm"),
        ({"count": "0"}, "count"),
        ({"first_serial": ""}, "first_serial"),
        ({"serials": "list"}, "serial_list"),
        ({"batch_set_no": ""}, "batch_set_no"),
        ({"last_serial": "B1050"}, "last_serial"),
        ({"first_no": "GLOVE"}, "first_no"),
        ({"made_on": date(2126, 1, 1).isoformat()}, "made_on"),
    ],
)
def test_what_is_wrong_with_the_statement_stands_beside_its_field(orla, changes, field):
    response = orla.post(PAGE, {**sixty(orla, **changes), "do": "show"})
    assert response.status_code == 422
    assert f'id="id_{field}_error"' in response.content.decode()


@pytest.mark.parametrize("kind", ["glove", "sleeve", "blanket", "line_hose", "hood", "rigid_cover", "grounding_jumper",
                                  "live_line_tool", "voltage_detector", "protector"])  # fmt: skip
def test_each_kind_has_its_page(orla, kind):
    page = orla.get(PAGE, {"kind": kind}).content.decode()
    assert ('name="pieces"' in page) is (kind in ("glove", "sleeve"))
    assert ('name="per_set"' in page) is (kind == "grounding_jumper")
    assert f'href="{PAGE}?kind={kind}"' in orla.get("/receive/").content.decode()


def test_an_unknown_client_id_of_another_batch_is_refused(orla):
    form = sixty(orla, count="1", last_serial="A0991")
    for changes, status in (
        ({}, 302),
        ({"first_no": "G-00901", "batch_set_no": "P-00077", "lot": "L-78"}, 422),
    ):
        page = orla.post(PAGE, {**form, **changes, "do": "show"}).content.decode()
        found = re.search(r'name="plan" value="(\w+)"', page)
        sent = {**form, **changes, "plan": found[1] if found else "", "do": "receive"}
        assert orla.post(PAGE, sent).status_code == status
    assert Item.objects.count() == 2
