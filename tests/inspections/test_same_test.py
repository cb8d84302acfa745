"""The same test sent again, two tests at one moment, and rows that no longer say what was recorded."""

import dataclasses
import threading
from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import connection

from gear import queries
from gear.actions.acting import Act
from gear.ledger import IdReused, verify
from gear.models import Entry, Item
from inspections.actions.testing import BadTest, log_test
from inspections.models import ElectricalTest, Instrument
from inspections.queries import detail_problems
from inspections.rules.acceptance import Reading
from tests import builders

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 2)
SOUND = Reading(
    tested_on=DAY,
    purpose="in_service",
    supply="ac",
    applied_v=20_000,
    seconds=60,
    leakage_ma=Decimal("12.5"),
    visual="accept",
    breakdown=False,
    flashover=False,
)
JUMPER = Reading(
    tested_on=DAY,
    purpose="in_service",
    resistance_mohm=Decimal("1.100"),
    cable_temp_c=Decimal(20),
    visual="accept",
)


def reading(**cells) -> Reading:
    return dataclasses.replace(SOUND, **cells)


def codes(item: Item, on: date = DAY) -> list[str]:
    return [reason.code for reason in queries.answer(item.item_no, queries.question(on)).reasons]


# The same test again


def test_the_same_id_and_content_returns_what_was_recorded(cast):
    blanket, act = builders.blanket(), Act(cast.orla, id=uuid4())
    first, judged = log_test(blanket, reading(leakage_ma=Decimal("12.50")), act=act, instrument="Bench 2")
    # the register learns later that the bench was out of calibration: a repeat of the post must still be harmless
    Instrument.objects.create(name="Bench 2", calibration_due_on=DAY - timedelta(days=1))
    again, judged_again = log_test(blanket, reading(), act=act, instrument="Bench 2")
    assert again == first
    assert judged_again.outcome == judged.outcome
    assert judged_again.proof == judged.proof
    assert Entry.objects.filter(kind="tested").count() == ElectricalTest.objects.count() == 1


@pytest.mark.parametrize("change", ["reading", "day", "item", "person", "report"])
def test_an_id_that_comes_with_something_else_is_refused(cast, change):
    blanket, act = builders.blanket(), Act(cast.orla, id=uuid4())
    log_test(blanket, reading(), act=act)
    other = {
        "reading": (blanket, reading(seconds=61), act, ""),
        "day": (blanket, reading(tested_on=DAY + timedelta(days=1)), act, ""),
        "item": (builders.blanket(), reading(), act, ""),
        "person": (blanket, reading(), Act(builders.person("clerk"), id=act.id), ""),
        "report": (blanket, reading(), act, "R-8"),
    }[change]
    with pytest.raises(IdReused):
        log_test(other[0], other[1], act=other[2], report_no=other[3])
    assert ElectricalTest.objects.count() == 1


def test_an_id_of_another_entry_is_refused(cast):
    blanket = builders.blanket()
    other = builders.happened(blanket, "noted", note="smells of oil")
    with pytest.raises(IdReused):
        log_test(blanket, reading(), act=Act(cast.orla, id=other.pk))


def test_item_day_and_report_number_identify_a_test(cast):
    blanket = builders.blanket()
    first, _judgement = log_test(blanket, reading(), act=Act(cast.orla), report_no="R-7")
    again, _judgement = log_test(blanket, reading(), act=Act(cast.orla), report_no="R-7")
    assert again == first
    with pytest.raises(BadTest, match="R-7 already holds"):
        log_test(blanket, reading(seconds=90), act=Act(cast.orla), report_no="R-7")
    other, _judgement = log_test(blanket, reading(seconds=90), act=Act(cast.orla), report_no="R-8")
    assert other != first


def test_without_a_report_number_everything_stated_identifies_it(cast):
    blanket = builders.blanket()
    first, _judgement = log_test(blanket, reading(), act=Act(cast.orla))
    assert log_test(blanket, reading(), act=Act(cast.orla))[0] == first
    assert log_test(blanket, reading(seconds=61), act=Act(cast.orla))[0] != first
    assert log_test(blanket, reading(), act=Act(cast.orla), lab="Bay lab")[0] != first


# Detail rows are evidence


def test_a_changed_or_lost_detail_row_is_found(cast):
    from gear import guards

    log_test(builders.blanket("B-1"), reading(), act=Act(cast.orla))
    log_test(builders.blanket("B-2"), reading(), act=Act(cast.orla))
    builders.tested(builders.blanket("B-3"))  # states no readings, so it has no row
    assert list(detail_problems()) == []
    guards.remove(connection)
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE inspections_electricaltest SET seconds = 180"
            " WHERE item_id IN (SELECT id FROM gear_item WHERE item_no = 'B-1')"
        )
        cursor.execute(
            "DELETE FROM inspections_electricaltest"
            " WHERE item_id IN (SELECT id FROM gear_item WHERE item_no = 'B-2')"
        )
    problems = {problem.subject: problem.sentence for problem in detail_problems()}
    assert problems.keys() == {"item:B-1", "item:B-2"}
    assert "differs from its detail row in seconds" in problems["item:B-1"]
    assert "has lost its detail row" in problems["item:B-2"]
    assert set(problems.values()) <= {problem.sentence for problem in verify.verify()}
    assert queries.answer("B-1", queries.question()).verdict == "unknown"
    assert queries.answer("B-3", queries.question()).verdict != "unknown"


def test_detail_rows_are_checked_in_two_queries_a_batch(cast, django_assert_num_queries):
    for _one in range(5):
        log_test(builders.blanket(), reading(), act=Act(cast.orla))
    with django_assert_num_queries(4):  # numbers of sessions, entries, rows, rows of other entries
        assert list(detail_problems()) == []


# All or nothing, also when many write


@pytest.mark.django_db(transaction=True)
def test_two_clerks_log_one_blanket_at_the_same_moment(cast):
    """FAULTS B01: both are kept, and the failure wins."""
    blanket = builders.blanket()
    barrier, outcomes = threading.Barrier(2), []

    def work(stated: Reading) -> None:
        barrier.wait()
        try:
            outcomes.append(log_test(blanket, stated, act=Act(cast.orla))[0].outcome)
        finally:
            connection.close()

    threads = [threading.Thread(target=work, args=(one,)) for one in (reading(), reading(breakdown=True))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcomes) == ["accepted", "failed"]
    assert ElectricalTest.objects.count() == 2
    assert codes(blanket) == ["FAILED_TEST"]


@pytest.mark.django_db(transaction=True)
def test_one_post_sent_many_times_at_once_is_one_test(cast):
    """FAULTS B05."""
    blanket, act, found = builders.blanket(), Act(cast.orla, id=uuid4()), []

    def work() -> None:
        try:
            found.append(log_test(blanket, reading(), act=act)[0].pk)
        finally:
            connection.close()

    threads = [threading.Thread(target=work) for _one in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [act.id] * 8
    assert ElectricalTest.objects.count() == 1
