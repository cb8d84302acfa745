"""Packing a carton: every scan kept at once, sending all or none, one piece in one open shipment."""

import threading
from datetime import timedelta

import pytest
from django.db import connections

from gear.actions.acting import Act
from gear.models import Depot, Entry, ItemState, Refusal
from gear.permissions import NotAllowed
from inspections.actions import shipments
from inspections.actions.shipments import ShipmentRefused
from inspections.models import Shipment, ShipmentLine, ShipmentOutcome
from tests import builders
from tests.inspections import cartons

pytestmark = pytest.mark.django_db


def refused(code):
    return pytest.raises(ShipmentRefused, check=lambda error: error.code == code)


def state_of(item):
    return ItemState.objects.select_related("holder").get(item=item)


def test_cartons_are_numbered_one_after_the_other(cast):
    numbers = [cartons.started(cast.orla).number for _one in range(3)]
    assert numbers == ["L-0001", "L-0002", "L-0003"]


def test_a_carton_is_packed_by_one_scan_a_piece_and_nothing_is_out_until_it_is_sent(cast):
    one = cartons.packed(cast.orla, *cartons.fleet(3).all)
    assert one.lines.count() == 3
    assert not Entry.objects.filter(kind="sent_for_test").exists()
    assert {state_of(line.item).condition for line in one.lines.all()} == {"ok"}


def test_sending_puts_every_piece_out_for_test_at_the_lab_under_the_number_of_the_shipment(cast):
    gloves = cartons.fleet(4).all
    one = cartons.sent(cast.orla, *gloves)
    entries = Entry.objects.filter(kind="sent_for_test")
    assert {entry.facts["batch"] for entry in entries} == {one.number}
    assert {entry.facts["holder"]["name"] for entry in entries} == {"The lab"}
    assert {(state_of(item).condition, state_of(item).holder.kind) for item in gloves} == {
        ("out_for_test", "lab")
    }
    assert one.state == "sent"
    assert set(one.lines.values_list("entry_id", flat=True)) == {entry.pk for entry in entries}


BLOCKED = {
    # what is against a piece: whether it may go into a carton
    "held": ({"reason": "odd smell"}, True),
    "event": ({"event": "suspect"}, True),
    "needs_cleaning": ({"reason": "oil"}, True),
    "sent_for_test": ({"reason": "called in"}, True),
    "rejected": ({"reason": "cut"}, False),
    "lost": ({"reason": "not on the truck"}, False),
    "destroyed": ({"reason": "cut up", "witness": "ines"}, False),
}


@pytest.mark.parametrize("kind", sorted(BLOCKED))
def test_what_is_blocked_may_go_and_what_is_beyond_any_test_may_not(cast, kind):
    facts, may = BLOCKED[kind]
    glove = builders.glove()
    builders.happened(glove, kind, **facts)
    one = cartons.started(cast.orla)
    if may:
        shipments.scan(one.number, glove, act=Act(cast.orla))
        assert one.lines.count() == 1
    else:
        with refused("MAY_NOT_GO"):
            shipments.scan(one.number, glove, act=Act(cast.orla))
        assert glove.item_no in Refusal.objects.get().detail


def test_a_piece_that_failed_its_test_does_not_go(cast):
    glove = builders.glove()
    builders.tested(glove, outcome="failed", codes=[{"code": "BREAKDOWN"}])
    with refused("MAY_NOT_GO"):
        shipments.scan(cartons.started(cast.orla).number, glove, act=Act(cast.orla))


def test_what_somebody_said_of_a_piece_in_doubt_stands_beside_its_line(cast):
    glove = builders.glove()
    builders.happened(glove, "event", event="suspect", note="finger 3")
    line = shipments.scan(cartons.started(cast.orla).number, glove, act=Act(cast.orla))
    assert (line.why, line.note) == ("NEEDS_TEST", "finger 3")


def test_a_piece_is_in_one_open_shipment_at_a_time(cast):
    glove = cartons.fleet(1).first
    first = cartons.packed(cast.orla, glove)
    second = cartons.started(cast.orla)
    with refused("IN_THIS_CARTON"):
        shipments.scan(first.number, glove, act=Act(cast.orla))
    with pytest.raises(ShipmentRefused, match=f"{glove.item_no} is in shipment {first.number} already"):
        shipments.scan(second.number, glove, act=Act(cast.orla))
    shipments.undo(first.number, glove, act=Act(cast.orla))
    assert shipments.scan(second.number, glove, act=Act(cast.orla)).shipment == second


def test_a_settled_piece_may_go_out_again(cast):
    glove = cartons.fleet(1).first
    first = cartons.sent(cast.orla, glove)
    cartons.settle(first, glove, by=cast.orla)
    assert cartons.packed(cast.orla, glove).lines.count() == 1


def test_undo_leaves_nothing_behind_and_only_before_sending(cast):
    gloves = cartons.fleet(2).all
    one = cartons.packed(cast.orla, *gloves)
    entries = Entry.objects.count()
    shipments.undo(one.number, gloves[0], act=Act(cast.orla))
    assert (one.lines.count(), Entry.objects.count()) == (1, entries)
    with refused("NOT_IN_CARTON"):
        shipments.undo(one.number, gloves[0], act=Act(cast.orla))
    shipments.send(one.number, act=Act(cast.orla))
    for act in (shipments.undo, shipments.scan):
        with refused("NOT_PACKING"):
            act(one.number, gloves[1], act=Act(cast.orla))
    with refused("NOT_PACKING"):
        shipments.send(one.number, act=Act(cast.orla))


def test_one_piece_that_may_not_go_keeps_the_whole_carton_here_and_names_itself(cast):
    gloves = cartons.fleet(5).all
    one = cartons.packed(cast.orla, *gloves)
    builders.happened(gloves[3], "rejected", reason="cut on the way to the carton")
    entries = Entry.objects.count()
    with pytest.raises(ShipmentRefused, match=gloves[3].item_no):
        shipments.send(one.number, act=Act(cast.orla))
    one.refresh_from_db()
    assert (one.state, Entry.objects.count()) == ("packing", entries)
    assert one.lines.filter(entry__isnull=True).count() == 5


@pytest.mark.parametrize("broken", ["record_many", "bulk_update", "save"])
def test_a_failure_in_the_middle_of_sending_sends_none(cast, monkeypatch, broken):
    gloves = cartons.fleet(5).all
    one = cartons.packed(cast.orla, *gloves)
    entries = Entry.objects.count()

    def breaks(*_args, **_kwargs):
        raise RuntimeError("the disk is gone")

    if broken == "record_many":
        honest = shipments.record_many

        def half(drafts, **how):
            honest(drafts[:2], **how)
            breaks()

        monkeypatch.setattr(shipments, "record_many", half)
    elif broken == "bulk_update":
        monkeypatch.setattr(ShipmentLine.objects, "bulk_update", breaks)
    else:
        monkeypatch.setattr(Shipment, "save", breaks)
    with pytest.raises(RuntimeError, match="disk"):
        shipments.send(one.number, act=Act(cast.orla))
    one.refresh_from_db()
    assert (one.state, Entry.objects.count()) == ("packing", entries)
    assert {state_of(item).condition for item in gloves} == {"ok"}


@pytest.mark.parametrize(
    ("stated", "code"),
    [
        ({"carton": 3, "cartons": 2}, "CARTON_COUNT"),
        ({"carton": 0, "cartons": 2}, "CARTON_COUNT"),
        ({"expected_on": None}, "BACK_BEFORE_SENT"),
        ({"lab": None}, "NOT_A_LAB"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field(cast, stated, code):
    if "expected_on" in stated:
        stated["expected_on"] = shipments.today() - timedelta(days=1)
    if "lab" in stated:
        stated["lab"] = builders.holder("shelf", "A shelf")
    with refused(code):
        cartons.started(cast.orla, **stated)
    assert not Shipment.objects.exists()


def test_an_empty_carton_is_not_sent_and_may_be_closed(cast):
    one = cartons.started(cast.orla)
    with refused("EMPTY"):
        shipments.send(one.number, act=Act(cast.orla))
    assert shipments.close(one.number, act=Act(cast.orla)).state == "closed"


def test_gear_of_another_depot_is_not_sent_by_a_clerk_who_is_bound_to_one(cast):
    cast.orla.depot = cast.depot
    cast.orla.save()
    clay = Depot.objects.create(name="Upper Clay")
    glove = builders.glove(at=builders.holder("shelf", "Clay shelf", depot=clay))
    with pytest.raises(NotAllowed, match="another depot"):
        shipments.scan(cartons.started(cast.orla).number, glove, act=Act(cast.orla))


@pytest.mark.parametrize("name", ["dev", "bertrand", "ines", "halvard", "pim"])
def test_only_the_clerk_packs_and_sends(cast, name):
    one = cartons.packed(cast.orla, cartons.fleet(1).first)
    with pytest.raises(NotAllowed):
        shipments.send(one.number, act=Act(getattr(cast, name)))
    assert Refusal.objects.get().by.username == name


@pytest.mark.django_db(transaction=True)
def test_one_piece_scanned_into_two_cartons_at_once_is_in_one(cast):
    glove = cartons.fleet(1).first
    numbers = [cartons.started(cast.orla).number for _one in range(2)]
    told = at_once(lambda number: shipments.scan(number, glove, act=Act(cast.orla)), numbers)
    assert sorted(told) == ["IN_OTHER_SHIPMENT", "done"]
    assert ShipmentLine.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_one_line_settled_in_two_ways_at_once_is_settled_once(cast):
    glove = cartons.fleet(1).first
    one = cartons.sent(cast.orla, glove)
    cartons.shelf()
    told = at_once(lambda outcome: cartons.settle(one, glove, outcome, by=cast.orla), ["passed", "missing"])
    assert sorted(told) == ["ALREADY_SETTLED", "done"]
    assert ShipmentOutcome.objects.count() == 1


def at_once(work, given):
    """What becomes of the same work done by two people at the same moment: done, or the code of its refusal."""
    together, told = threading.Barrier(len(given)), []

    def run(one):
        try:
            together.wait(timeout=20)
            work(one)
            told.append("done")
        except ShipmentRefused as error:
            told.append(error.code)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=[one]) for one in given]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return told
