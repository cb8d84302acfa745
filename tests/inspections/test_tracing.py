"""Trace forward from a bad instrument: twelve pieces made by hand, against another way of finding."""

from datetime import UTC, date, datetime

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gear import queries
from gear.actions.acting import Act
from gear.actions.batches import Cause, hold_all, release_all
from gear.ledger import verify
from gear.models import Entry, Item, ItemState
from gear.queries.batches import still_held
from gear.queries.whereabouts import items_in
from gear.rules.fold import from_json
from inspections.actions.corrections import correct_test
from inspections.actions.instruments import Certificate, add_instrument, calibrate
from inspections.actions.testing import log_test
from inspections.models import ElectricalTest, Instrument
from inspections.queries import calibration_on, register
from inspections.queries.tracing import acceptance_of, trace
from inspections.rules.testfacts import Paper
from tests import builders
from tests.inspections import tracing_graph as graph
from tests.inspections.tracing_graph import FOUND, GOOD, SOUND

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 8, 20, 16, tzinfo=UTC)


@pytest.fixture(autouse=True)
def in_september():
    """Noon at the site on 20 September 2026."""
    with time_machine.travel(datetime(2026, 9, 20, 16, tzinfo=UTC), tick=True):
        yield


@pytest.fixture
def meter(cast):
    """The twelve pieces and their tests; M-2 is found wrong after all of them but one."""
    made = graph.instruments(cast)
    piece = graph.pieces()
    graph.tests(piece, cast)
    graph.found_wrong(made, cast)
    return made


def traced(meter, found_on=FOUND):
    return trace(meter, found_on, queries.question())


def numbers(pieces):
    return {one.item_no for one in pieces}


def test_the_twelve(meter):
    found = traced(meter)
    assert (found.wrong.since, found.wrong.through) == (GOOD, FOUND)
    assert numbers(found.carried) == graph.RESTING
    assert numbers(one for one in found.carried if one.usable) == graph.USABLE
    assert numbers(found.ended) == graph.ENDED
    assert found.usable == 2
    assert found.nameless == 1


def brute(meter):
    """Item by item from the entries: drop what names nothing, take the last that is left, look at its name and day."""
    resting = set()
    for item in Item.objects.all():
        facts = from_json(ItemState.objects.get(item=item).facts)
        says = {}
        for entry in item.entry_set.order_by("position"):
            if entry.kind == "tested":
                says[entry.pk] = (entry.occurred_on, entry.recorded_at, entry.facts)
            elif entry.kind == "corrected" and entry.corrects_id in says:
                new = entry.facts["replacement"]
                first = says[entry.corrects_id]
                says[entry.corrects_id] = (date.fromisoformat(new["occurred_on"]), first[1], new["facts"])
        accepted = []
        for on, recorded_at, stated in says.values():
            names = {stated["readings"].get(cell, "").casefold() for cell in ("instrument", "lab")} - {""}
            if stated["outcome"] == "accepted" and names:
                accepted.append((on, recorded_at, names))
        if not accepted or facts.rejected or facts.failed or facts.voided:
            continue
        on, _recorded_at, names = max(accepted, key=lambda one: one[:2])
        if meter.name.casefold() in names and GOOD <= on <= FOUND:
            resting.add(item.item_no)
    return resting


def test_the_twelve_by_brute_force_from_the_entries(meter):
    assert brute(meter) == graph.RESTING == numbers(traced(meter).carried)


def test_where_they_are_is_told_by_crew_and_holder(meter):
    places = {one.item_no: (one.holder, one.place.crew) for one in traced(meter).carried}
    assert places["B-01"] == (("person", "Dev"), "Crew 7")
    assert places["B-02"] == (("truck", "T-12"), "Crew 7")
    assert places["B-03"] == (("shelf", "The shelf"), None)


def test_each_names_the_test_that_it_rests_on(meter):
    about = {one.item_no: one.about for one in traced(meter).carried}
    assert about["B-05"].on == FOUND
    assert about["B-09"].on == graph.IN
    assert about["B-11"].test.entry.kind == "corrected"


def test_a_correction_away_from_the_bad_meter_clears(meter, cast):
    test = Item.objects.get(item_no="B-03").entry_set.get(kind="tested")
    reading = graph.replace(SOUND, tested_on=graph.IN)
    correct_test(test, reading, Paper(instrument="M-1"), reason="it was M-1 that day", act=Act(cast.ines))
    assert numbers(traced(meter).carried) == graph.RESTING - {"B-03"}
    assert brute(meter) == graph.RESTING - {"B-03"}


def test_two_instruments_are_traced_each_for_itself(meter, cast):
    other = add_instrument("M-3", kind="meter", act=Act(cast.orla))
    calibrate(other, Certificate(GOOD, date(2027, 8, 2), True), act=Act(cast.orla))
    both = builders.blanket("B-13")
    log_test(both, graph.replace(SOUND, tested_on=graph.IN), act=Act(cast.orla), instrument="M-3", lab="M-2")
    assert numbers(traced(other).carried) == {"B-13"}
    assert numbers(traced(meter).carried) == graph.RESTING | {"B-13"}


@pytest.mark.parametrize(
    ("kind", "cells", "names"),
    [
        ("meter", {"instrument": "M-2", "lab": "", "bench": "Bench 2"}, {"m-2"}),
        ("meter", {"instrument": "", "lab": "", "bench": "Bench 2"}, set()),  # which meter, nobody says
        ("meter", {"instrument": "M-1", "lab": "The lab", "bench": ""}, {"m-1", "the lab"}),
        ("bench", {"instrument": "M-1", "lab": "", "bench": "Bench 1"}, {"bench 1"}),
        ("bench", {"instrument": "M-1", "lab": "", "bench": "bench 2"}, {"bench 2"}),
        ("bench", {"instrument": "Bench 2", "lab": "", "bench": ""}, {"bench 2"}),
        ("bench", {"instrument": "Bench 1", "lab": "", "bench": ""}, {"bench 1"}),
        ("bench", {"instrument": "BENCH 2", "lab": "", "bench": "Bench 1"}, {"bench 1", "bench 2"}),
        ("bench", {"instrument": "", "lab": "", "bench": ""}, set()),
    ],
)
def test_what_a_test_names_is_read_for_the_kind_of_instrument(kind, cells, names):
    row = ElectricalTest(tested_on=graph.IN, entry=Entry(occurred_at=NOON, recorded_at=NOON), **cells)
    instrument = Instrument(name="Bench 2" if kind == "bench" else "M-2", kind=kind)
    assert acceptance_of(row, instrument).named == names


def test_a_bench_in_the_register_is_judged_and_traced_like_a_meter(meter, cast):
    bench = add_instrument("Bench 2", kind="bench", act=Act(cast.orla))
    calibrate(bench, Certificate(GOOD, GOOD + 20 * graph.DAY, True), act=Act(cast.orla))
    named = Paper(instrument="M-1", bench="Bench 2")
    assert calibration_on(named, GOOD + 20 * graph.DAY, register()) == "on_file"
    assert calibration_on(named, GOOD + 21 * graph.DAY, register()) == "expired"
    log_test(
        builders.blanket("B-13"),
        graph.replace(SOUND, tested_on=graph.IN),
        act=Act(cast.orla),
        instrument="bench 2",
    )
    assert numbers(traced(bench).carried) == {"B-13"}


def test_until_it_is_put_right_it_stays_wrong(cast):
    meter = graph.instruments(cast)
    graph.tests(graph.pieces(), cast)
    found = traced(meter)
    assert (found.wrong.since, found.wrong.through) == (GOOD, None)
    assert numbers(found.carried) == graph.RESTING | {"B-07"}


def test_with_no_good_calibration_on_file_every_test_counts(cast):
    meter = add_instrument("M-2", kind="meter", act=Act(cast.orla))
    for name, kind in (("M-1", "meter"), ("The lab", "lab")):
        add_instrument(name, kind=kind, act=Act(cast.orla))
    graph.tests(graph.pieces(), cast)
    found = traced(meter)
    assert (found.wrong.since, found.wrong.through) == (None, None)
    assert numbers(found.carried) == graph.RESTING | {"B-06", "B-07"}


def test_what_was_found_before_the_last_calibration_reaches_back_to_the_one_before(meter):
    found = traced(meter, GOOD)
    assert (found.wrong.since, found.wrong.through) == (date(2025, 8, 1), GOOD)
    assert numbers(found.carried) == {"B-04", "B-06"}


def test_all_are_held_as_one_act_and_all_are_released_as_one(meter, cast):
    builders.happened(Item.objects.get(item_no="B-02"), "held", reason="odd smell", by=cast.dev)
    found = traced(meter)
    cause = Cause("trace", "Instrument M-2 found wrong on 2026-09-14, last known good 2026-08-03")
    batch = hold_all(items_in(found.carried), cause=cause, reason="certificate C-1255", act=Act(cast.orla))
    held = set(Entry.objects.filter(facts__batch=batch.number).values_list("item__item_no", flat=True))
    assert held == graph.RESTING
    answer = queries.answer("B-01", queries.question())
    assert answer.verdict == "stop"
    assert "M-2 found wrong" in answer.reasons[0].values["why"]
    assert numbers(traced(meter).carried) == graph.RESTING  # a hold is no new test
    release_all(batch, reason="the reading error was in the certificate", act=Act(cast.ines))
    assert still_held(batch) == set()
    assert queries.answer("B-01", queries.question()).verdict == "good"
    assert queries.answer("B-02", queries.question()).reasons[0].code == "HELD"
    assert verify.verify() == []


def test_a_piece_whose_state_cannot_be_read_is_named_and_cannot_be_held(meter):
    ItemState.objects.filter(item__item_no="B-03").update(facts={"item_no": "B-03"})
    found = traced(meter)
    assert numbers(found.unreadable) == {"B-03"}
    assert numbers(found.carried) == graph.RESTING - {"B-03"}


def test_the_number_of_queries_does_not_grow_with_the_pieces(meter, cast):
    with CaptureQueriesContext(connection) as few:
        traced(meter)
    more = [builders.blanket(f"C-{number}") for number in range(25)]
    for one in more:
        log_test(one, graph.replace(SOUND, tested_on=graph.IN), act=Act(cast.orla), instrument="M-2")
    with CaptureQueriesContext(connection) as many:
        assert len(traced(meter).carried) == len(graph.RESTING) + 25
    assert len(many) == len(few)
