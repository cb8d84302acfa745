"""One item received by hand: complete for its kind, ok, on a shelf, with a label code."""

import threading
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection

from gear import queries
from gear.actions import gearbook
from gear.actions.acting import Act
from gear.actions.receipt import FIELDS, BadReceipt, receive_item
from gear.ledger import IdReused, verify
from gear.models import Entry, Item, Label, Refusal
from gear.permissions import NotAllowed
from gear.rules import codes
from gear.rules.gearbook import parse_row
from gear.rules.readiness import KINDS
from gear.rules.tables import Row
from tests import builders

pytestmark = pytest.mark.django_db
# FEATURES 1: one of each kind with the fields of its kind
EACH = {
    "glove": {
        "class": "2",
        "hand": "L",
        "size": "10",
        "length_mm": "360",
        "type": "I",
        "colour": "red/black",
    },
    "sleeve": {"class": "2", "hand": "R", "size": "regular", "type": "II"},
    "blanket": {"class": "4", "size": "36 x 36 in"},
    "line_hose": {"class": "3", "length_mm": "1370"},
    "hood": {"class": "4"},
    "rigid_cover": {"class": "4", "rated_kv": "46"},
    "grounding_jumper": {
        "cable_size": "4/0",
        "cable_length_m": "3.048",
        "clamp_grade": "5",
        "ferrule_grade": "5",
    },
    "live_line_tool": {"length_mm": "2400"},
    "voltage_detector": {"serial": "VD-77"},
    "protector": {"size": "10", "hand": "L"},
}


@pytest.mark.parametrize("kind", KINDS)
def test_one_of_each_kind_is_received_on_a_shelf(cast, kind):
    item = receive_item(
        {"item_no": "X-1", "kind": kind, "maker": "Northway", **EACH[kind]}, act=Act(cast.orla)
    )
    identity = Entry.objects.get(kind="received").facts["identity"]
    assert identity["kind"] == kind
    assert {name: str(identity[name]) for name in EACH[kind]} == EACH[kind]
    state = item.state
    assert (state.condition, state.usable_now, state.holder.kind) == ("ok", False, "shelf")
    assert state.facts["received_on"] == builders.today().isoformat()
    assert codes.is_valid(Label.objects.get(item=item).code)
    assert [entry.by for entry in Entry.objects.all()] == [cast.orla] * 2
    assert queries.answer("X-1", queries.question()).verdict != "unknown"
    assert verify.verify() == []


def test_every_kind_has_its_example():
    assert EACH.keys() == set(KINDS)


@pytest.mark.parametrize(
    ("kind", "field", "value"),
    [
        ("blanket", "hand", "L"),
        ("blanket", "cable_size", "2/0"),
        ("grounding_jumper", "type", "I"),
        ("grounding_jumper", "class", "2"),
        ("glove", "clamp_grade", "5"),
        ("live_line_tool", "class", "2"),
        ("rigid_cover", "type", "I"),
        ("rigid_cover", "class", "00"),
        ("glove", "class", "5"),
    ],
)
def test_a_field_of_another_kind_is_refused_by_name(cast, kind, field, value):
    with pytest.raises(BadReceipt) as refused:
        receive_item({"item_no": "X-1", "kind": kind, **EACH[kind], field: value}, act=Act(cast.orla))
    assert refused.value.fields.keys() == {field}
    assert not Item.objects.exists()
    assert Refusal.objects.get().act == "receive"


@pytest.mark.parametrize(
    ("kind", "missing"),
    [
        ("glove", "class"),
        ("glove", "hand"),
        ("glove", "length_mm"),
        ("sleeve", "hand"),
        ("blanket", "class"),
        ("rigid_cover", "class"),
        ("grounding_jumper", "cable_size"),
        ("grounding_jumper", "cable_length_m"),
    ],
)
def test_what_a_judgement_will_need_must_be_stated(cast, kind, missing):
    fields = {name: value for name, value in EACH[kind].items() if name != missing}
    with pytest.raises(BadReceipt) as refused:
        receive_item({"item_no": "X-1", "kind": kind, **fields}, act=Act(cast.orla))
    assert refused.value.fields == {missing: f"{missing} is missing. It is required."}


@pytest.mark.parametrize("field", ["item_no", "kind"])
def test_number_and_kind_must_be_stated(cast, field):
    fields = {"item_no": "X-1", "kind": "hood", "class": "4", field: " "}
    with pytest.raises(BadReceipt) as refused:
        receive_item(fields, act=Act(cast.orla))
    assert field in refused.value.fields


@pytest.mark.parametrize(
    "fields",
    [
        {"condition": "held"},
        {"holder_kind": "person"},
        {"first_issued_on": "2026-01-01"},
        {"set_no": "P-1"},
        {"verdict": "good"},
    ],
)
def test_what_has_no_place_in_a_receipt_is_refused(cast, fields):
    with pytest.raises(BadReceipt) as refused:
        receive_item({"item_no": "X-1", "kind": "hood", "class": "4", **fields}, act=Act(cast.orla))
    assert refused.value.fields.keys() == fields.keys()
    assert set(fields) & set(FIELDS) == set()


def test_a_bad_date_or_one_in_the_future_is_refused(cast):
    tomorrow = (builders.today() + timedelta(days=1)).isoformat()
    for value in ("1/2/2026", tomorrow):
        with pytest.raises(BadReceipt) as refused:
            receive_item(
                {"item_no": "X-1", "kind": "hood", "class": "4", "received_on": value}, act=Act(cast.orla)
            )
        assert refused.value.fields.keys() == {"received_on"}


def test_a_number_is_used_once_for_ever(cast):
    receive_item({"item_no": "X-1", "kind": "hood", "class": "4"}, act=Act(cast.orla))
    with pytest.raises(BadReceipt, match="X-1 is in the book already"):
        receive_item({"item_no": "X-1", "kind": "hood", "class": "3"}, act=Act(cast.orla))


def test_a_serial_of_one_maker_and_hand_is_used_once(cast):
    fields = {"kind": "hood", "class": "4", "maker": "Northway", "serial": "77"}
    receive_item({"item_no": "X-1", **fields}, act=Act(cast.orla))
    with pytest.raises(BadReceipt, match="belongs to X-1"):
        receive_item({"item_no": "X-2", **fields}, act=Act(cast.orla))


def test_a_serial_that_was_destroyed_is_told_as_such_by_page_and_by_file(cast):
    fields = {"kind": "hood", "class": "4", "maker": "Northway", "serial": "77"}
    scrapped = receive_item({"item_no": "X-1", **fields}, act=Act(cast.orla))
    builders.happened(scrapped, "destroyed", reason="cut up", witness="dev")
    with pytest.raises(BadReceipt, match="belongs to X-1, which was destroyed"):
        receive_item({"item_no": "X-2", **fields}, act=Act(cast.orla))
    row = parse_row(
        Row(0, {"item_no": "X-2", "holder": "Rack 4", "holder_kind": "shelf", **fields}),
        today=builders.today(),
    )[0]
    told = [problem.code for problem in gearbook.against_the_book([row], Act(cast.orla))]
    assert told == ["SERIAL_DESTROYED"]
    other_maker = parse_row(
        Row(0, {"item_no": "X-2", "holder": "Rack 4", "holder_kind": "shelf", **fields, "maker": "Tidewall"}),
        today=builders.today(),
    )[0]
    assert list(gearbook.against_the_book([other_maker], Act(cast.orla))) == []


def test_it_lies_where_it_is_put(cast):
    builders.holder("shelf", "Rack 4")
    item = receive_item(
        {"item_no": "X-1", "kind": "hood", "class": "4", "holder": "Rack 4"}, act=Act(cast.orla)
    )
    assert item.state.facts["holder"] == {
        "kind": "shelf",
        "name": "Rack 4",
        "crew": None,
        "depot": "Harbour depot",
    }
    with pytest.raises(BadReceipt, match="no shelf named Rack 5"):
        receive_item({"item_no": "X-2", "kind": "hood", "class": "4", "holder": "Rack 5"}, act=Act(cast.orla))


def test_without_a_shelf_it_goes_to_the_tool_room_of_the_clerk(cast):
    cast.orla.depot = cast.depot
    item = receive_item({"item_no": "X-1", "kind": "hood", "class": "4"}, act=Act(cast.orla))
    assert (item.state.holder.name, item.state.holder.depot) == ("Tool room, Harbour depot", cast.depot)


def test_a_clerk_of_one_depot_receives_for_no_other(cast):
    cast.orla.depot = cast.depot
    with pytest.raises(BadReceipt, match="outside your depot") as refused:
        receive_item({"item_no": "X-1", "kind": "hood", "class": "4", "depot": "Upland"}, act=Act(cast.orla))
    assert refused.value.fields.keys() == {"depot"}


@pytest.mark.parametrize("who", ["dev", "bertrand", "ines", "halvard", "pim"])
def test_only_clerks_receive(cast, who):
    with pytest.raises(NotAllowed):
        receive_item({"item_no": "X-1", "kind": "hood", "class": "4"}, act=Act(getattr(cast, who)))


def test_the_same_id_returns_the_item_of_then(cast):
    act, fields = Act(cast.orla, id=uuid4()), {"item_no": "X-1", "kind": "hood", "class": "4"}
    first = receive_item(fields, act=act)
    assert receive_item(fields, act=act) == first
    with pytest.raises(IdReused):
        receive_item({**fields, "class": "3"}, act=act)
    assert Item.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_clerks_receive_one_number_at_once(cast):
    barrier, outcomes = threading.Barrier(2), []

    def work() -> None:
        barrier.wait()
        try:
            receive_item({"item_no": "X-1", "kind": "hood", "class": "4"}, act=Act(cast.orla))
            outcomes.append("received")
        except BadReceipt as error:
            outcomes.append(next(iter(error.fields)))
        finally:
            connection.close()

    threads = [threading.Thread(target=work) for _one in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcomes) == ["item_no", "received"]
    assert Item.objects.count() == 1
