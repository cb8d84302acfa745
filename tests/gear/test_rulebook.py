"""Which pack and policy count on a day, and that stored dates follow from entries alone."""

from datetime import UTC, date, datetime

import pytest
import time_machine

from gear.ledger import Draft, record, rules_by_day, rules_on, states
from gear.ledger.rulebook import Proposed
from gear.models import ItemState
from gear.rules import packs, policy
from gear.rules.packs import Interval
from tests import builders

pytestmark = pytest.mark.django_db
NOON = {
    day: datetime(2026, *day, 17, tzinfo=UTC) for day in ((5, 1), (5, 2), (6, 30), (7, 1), (8, 1), (9, 1))
}


def facts(months, effective_from):
    chosen = policy.SitePolicy(intervals={"blanket": Interval(months, "months")}, source="manual 4.2")
    return {"policy": policy.to_json(chosen), "effective_from": effective_from, "reason": "review"}


def stated(months, effective_from, *, on=(5, 1)):
    with time_machine.travel(NOON[on], tick=False):
        return record(Draft(None, "policy_set", facts(months, effective_from)), by=None, via="system")


def months_on(day, **known):
    interval = rules_on(day, **known).policy.intervals.get("blanket")
    return interval and interval.count


def test_with_nothing_recorded_the_shipped_pack_and_policy_count():
    rules = rules_on(date(1900, 1, 1))
    assert rules.pack.label == "us_federal 1"
    assert rules.policy == policy.from_toml()


@pytest.mark.parametrize(
    ("recorded", "day", "months"),
    [
        # one policy: from its day on, not the day before
        ([(6, "2026-07-01")], date(2026, 6, 30), None),
        ([(6, "2026-07-01")], date(2026, 7, 1), 6),
        ([(6, "2026-07-01")], date(2036, 1, 1), 6),
        # of two with the same day the one recorded last
        ([(6, "2026-07-01"), (3, "2026-07-01")], date(2026, 7, 1), 3),
        ([(3, "2026-07-01"), (6, "2026-07-01")], date(2026, 7, 1), 6),
        # the latest day that has come, in whichever order they were recorded
        ([(6, "2026-07-01"), (3, "2026-08-01")], date(2026, 7, 31), 6),
        ([(6, "2026-07-01"), (3, "2026-08-01")], date(2026, 8, 1), 3),
        ([(3, "2026-08-01"), (6, "2026-07-01")], date(2026, 7, 31), 6),
        ([(3, "2026-08-01"), (6, "2026-07-01")], date(2026, 8, 1), 3),
    ],
)
def test_which_policy_counts_on_a_day(recorded, day, months):
    for one in recorded:
        stated(*one)
    assert months_on(day) == months
    assert months_on(day) == ((found := rules_by_day()(day).policy.intervals.get("blanket")) and found.count)


def test_a_policy_counts_for_what_was_known_only_once_it_was_recorded():
    stated(6, "2026-05-01", on=(5, 2))
    assert months_on(date(2026, 7, 1), known_at=NOON[(5, 1)]) is None
    assert months_on(date(2026, 7, 1), known_at=NOON[(6, 30)]) == 6


def test_what_is_proposed_counts_as_if_recorded_last_and_is_recorded_nowhere():
    stated(6, "2026-07-01")
    proposed = Proposed("policy_set", facts(3, "2026-07-01"))
    by_day = rules_by_day(proposed=[proposed])
    assert by_day(date(2026, 7, 1)).policy.intervals["blanket"].count == 3
    assert months_on(date(2026, 7, 1)) == 6


def test_a_pack_counts_from_its_day_and_only_as_it_was_adopted():
    pack = packs.load("thirty_day_gloves")
    adopted = {
        "name": pack.name,
        "version": pack.version,
        "sha256": pack.sha256,
        "effective_from": "2026-07-01",
        "reason": "mine",
    }
    with time_machine.travel(NOON[(5, 1)], tick=False):
        record(Draft(None, "pack_adopted", adopted), by=None, via="system")
        record(
            Draft(None, "pack_adopted", {**adopted, "sha256": "0" * 64, "effective_from": "2026-08-01"}),
            by=None,
            via="system",
        )
    assert rules_on(date(2026, 6, 30)).pack.label == "us_federal 1"
    assert rules_on(date(2026, 7, 1)).pack.label == "thirty_day_gloves 1"
    refused = rules_on(date(2026, 8, 1))
    assert refused.pack is None
    assert "not the file that was adopted" in refused.refusal


@pytest.mark.parametrize("spoilt", [{"effective_from": "soon"}, {"policy": {}}, {"policy": None}])
def test_rules_that_cannot_be_read_leave_every_answer_unknown_and_writing_possible(spoilt, monkeypatch):
    blanket = builders.blanket()
    # A later program may record what this one cannot read.
    monkeypatch.setattr("gear.rules.entries.check", lambda *_args, **_kwargs: None)
    record(Draft(None, "policy_set", {**facts(6, "2020-01-01"), **spoilt}), by=None, via="system")
    assert rules_on(date(2026, 7, 1)).pack is None
    builders.tested(blanket)  # a test is still recorded


def test_changes_to_people_are_not_read_to_answer_about_gear(django_assert_num_queries):
    for number in range(3):
        record(
            Draft(None, "person_changed", {"person": f"p{number}", "change": "added"}), by=None, via="system"
        )
    with django_assert_num_queries(
        2
    ) as asked:  # entries about rules; how all site entries follow one another
        rules_on(date(2026, 7, 1))
    assert "person_changed" not in asked[0]["sql"]
    assert "facts" not in asked[1]["sql"]


# What is stored of an item follows from entries alone: no job has to run on the day a policy begins


@pytest.fixture
def blanket():
    """Tested on 1 May: 12 months by the pack, good through 30 Apr 2027."""
    with time_machine.travel(NOON[(5, 1)], tick=False):
        made = builders.blanket()
        builders.tested(made, on=date(2026, 5, 1))
        builders.issued(made, on=date(2026, 5, 1))
    return made


def stored(item):
    return ItemState.objects.get(item=item).good_through


def test_a_policy_due_to_begin_already_shortens_the_stored_date(blanket):
    assert stored(blanket) == date(2027, 4, 30)
    stated(6, "2026-08-01", on=(5, 2))
    states.rebuild()
    assert stored(blanket) == date(2026, 10, 31)


@pytest.mark.parametrize("first", [6, 9])
@pytest.mark.parametrize("second", [3, 11])
def test_folding_again_on_any_later_day_changes_nothing(blanket, first, second):
    stated(first, "2026-06-30", on=(5, 2))
    stated(second, "2026-08-01", on=(5, 2))
    with time_machine.travel(NOON[(5, 2)], tick=False):
        states.rebuild()
    before = stored(blanket)
    for day in ((5, 2), (6, 30), (7, 1), (8, 1), (9, 1)):
        with time_machine.travel(NOON[day], tick=False):
            assert list(states.differing()) == []
            states.rebuild()
            assert stored(blanket) == before


def test_the_stored_date_is_never_later_than_the_answer_of_any_day_to_come(blanket):
    stated(9, "2026-06-30", on=(5, 2))
    stated(6, "2026-08-01", on=(5, 2))
    states.rebuild()
    facts_now = states.fold.from_json(ItemState.objects.get(item=blanket).facts)
    for day in (date(2026, 5, 2), date(2026, 6, 30), date(2026, 8, 1)):
        running = states.readiness.running_clocks(facts_now, rules_on(day))
        assert stored(blanket) <= running[0].good_through


def test_a_newer_entry_lets_go_of_a_policy_that_has_ended(blanket):
    stated(3, "2026-06-30", on=(5, 2))
    stated(9, "2026-08-01", on=(5, 2))
    states.rebuild()
    assert stored(blanket) == date(2026, 7, 31)
    with time_machine.travel(NOON[(9, 1)], tick=False):
        builders.happened(blanket, "noted", note="washed", on=date(2026, 9, 1))
    assert stored(blanket) == date(2027, 1, 31)
