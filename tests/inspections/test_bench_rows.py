"""Rows of a bench session: written once, judged at once, corrected in the open, frozen when posted."""

import threading
from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import DatabaseError, connection, connections, transaction

import inspections.guards
from gear.actions.acting import Act, IdReused
from gear.models import Depot, Entry
from gear.permissions import NotAllowed
from inspections import queries
from inspections.actions.bench_judging import BenchRefused
from inspections.actions.bench_posting import post
from inspections.actions.bench_rows import confirm_rows, give_looks, strike_row
from inspections.actions.bench_sessions import abandon_session
from inspections.actions.testing import BadTest
from inspections.models import BenchRow
from tests import builders
from tests.inspections.bench_day import day, in_service, typed

pytestmark = pytest.mark.django_db


def now(row):
    return queries.board(row.session).find(row.pk)


def codes(row):
    return [one.code for one in now(row).findings]


# JOB: the verdict is computed, never typed


@pytest.mark.parametrize(
    ("length_mm", "reading", "outcome"),
    [(360, "16.0", "accepted"), (360, "16.1", "failed"), (406, "16.1", "accepted"), (406, "18.1", "failed")],
)
def test_a_row_is_judged_by_class_and_length(cast, length_mm, reading, outcome):
    (glove,) = in_service(length_mm=length_mm)
    row = typed(day(cast.orla), glove, reading, by=cast.orla)
    assert now(row).outcome == outcome
    assert not Entry.objects.filter(kind="tested", item=glove, facts__has_key="batch").exists()


def test_voltage_and_time_are_those_of_class_and_purpose(cast):
    (glove,) = in_service()
    row = typed(day(cast.orla), glove, by=cast.orla)
    assert (row.applied_v, row.seconds) == (20_000, 60)
    first = typed(day(cast.orla, purpose="first"), builders.glove(cls="3", length_mm=410), by=cast.orla)
    assert (first.applied_v, first.seconds) == (30_000, 180)


@pytest.mark.parametrize(
    ("cells", "outcome", "code"),
    [
        ({"reading": "0"}, "void", "ZERO_CURRENT"),
        ({"reading": None, "breakdown": True}, "failed", "BREAKDOWN"),
        ({"reading": None, "flashover": True}, "void", "FLASHOVER"),
        ({"reading": None, "look_before": "reject"}, "failed", "VISUAL_REJECT"),
        ({"look_after": "reject"}, "failed", "VISUAL_REJECT"),
        ({"look_after": "test"}, "void", "VISUAL_TEST"),
        ({"look_before": "clean", "reading": None}, "void", "VISUAL_CLEAN"),
        ({"applied_v": 19_000, "why": "the regulator would not go higher"}, "void", "VOLTAGE_TOO_LOW"),
        ({"seconds": 59}, "void", "TOO_SHORT"),
        ({"look_after": ""}, "void", "READING_MISSING"),
        ({"look_before": ""}, "void", "READING_MISSING"),
    ],
)
def test_exceptions_are_told_apart(cast, cells, outcome, code):
    (glove,) = in_service()
    row = typed(day(cast.orla), glove, cells.pop("reading", "12.5"), by=cast.orla, **cells)
    assert now(row).outcome == outcome
    assert code in codes(row)


def test_a_reading_far_below_the_last_accepted_one_is_no_failure(cast):
    (glove,) = in_service()
    first = day(cast.orla)
    typed(first, glove, "12", by=cast.orla)
    post(first, count=1, act=Act(cast.orla))
    row = typed(day(cast.orla), glove, "4.7", by=cast.orla)
    assert (now(row).outcome, codes(row)) == ("void", ["LOW_FOR_ITEM"])


def test_a_low_reading_shows_once_five_others_tell_what_is_usual(cast):
    session, gloves = day(cast.orla), in_service(count=6)
    low = typed(session, gloves[0], "3", by=cast.orla)
    for glove, reading in zip(gloves[1:5], ("12", "12.1", "12.3", "12.2"), strict=True):
        typed(session, glove, reading, by=cast.orla)
    assert now(low).outcome == "accepted"
    typed(session, gloves[5], "12.4", by=cast.orla)
    assert (now(low).outcome, codes(low)) == ("void", ["LOW_FOR_SESSION"])


# What is refused, and why


@pytest.mark.parametrize(
    ("cells", "code", "field"),
    [
        ({"reading": None}, "READING_MISSING", "reading"),
        ({"applied_v": 25_000}, "VOLTAGE_DIFFERS", "why"),
        ({"reading": "1000.001"}, "READING_ABSURD", "leakage_ma"),
    ],
)
def test_a_row_that_cannot_be_kept_is_refused_beside_its_field(cast, cells, code, field):
    (glove,) = in_service()
    with pytest.raises((BenchRefused, BadTest)) as refused:
        typed(day(cast.orla), glove, cells.pop("reading", "12.5"), by=cast.orla, **cells)
    assert (refused.value.code, refused.value.field) == (code, field)
    assert not BenchRow.objects.exists()


def test_a_first_test_of_one_minute_needs_a_reason(cast):
    session, new = day(cast.orla), builders.glove()
    with pytest.raises(BenchRefused, match="first test lasts 180 s, not 60"):
        typed(session, new, by=cast.orla)
    row = typed(session, new, by=cast.orla, why="came from the other depot with its papers")
    assert now(row).outcome == "accepted"


def test_an_unknown_scan_and_a_shared_serial_name_what_to_do(cast):
    session = day(cast.orla)
    for maker in ("one", "two"):
        builders.glove(serial="TX 1", maker=maker)
    with pytest.raises(BenchRefused, match="Nothing in the book is known as NOPE"):
        typed(session, "NOPE", by=cast.orla)
    with pytest.raises(BenchRefused, match="More than one item bears this serial"):
        typed(session, "TX 1", by=cast.orla)


def test_a_destroyed_piece_is_not_tested(cast):
    (glove,) = in_service()
    builders.happened(glove, "rejected", reason="cut")
    builders.happened(glove, "destroyed", reason="cut up", witness="ines")
    with pytest.raises(BenchRefused) as refused:
        typed(day(cast.orla), glove, by=cast.orla)
    assert refused.value.code == "DESTROYED_IS_FINAL"


def test_gear_of_another_depot_and_people_without_the_right_are_refused(cast):
    clay = Depot.objects.create(name="Upper Clay")
    glove = builders.glove(at=builders.holder("shelf", "Clay shelf", depot=clay))
    builders.tested(glove)
    session = day(cast.orla)
    cast.orla.depot = cast.depot
    cast.orla.save()
    with pytest.raises(NotAllowed, match="another depot"):
        typed(session, glove, by=cast.orla)
    with pytest.raises(NotAllowed):
        typed(session, glove, by=cast.dev)


# Once, whatever the network does


def test_a_row_sent_twice_is_stored_once(cast):
    (glove,) = in_service()
    session, key = day(cast.orla), uuid4()
    first = typed(session, glove, by=cast.orla, id=key)
    assert typed(session, glove, by=cast.orla, id=key).pk == first.pk
    assert BenchRow.objects.count() == 1
    with pytest.raises(IdReused):
        typed(session, glove, "12.6", by=cast.orla, id=key)


def test_the_id_of_a_row_stands_for_no_other_item(cast):
    one, other = in_service(count=2)
    session, key = day(cast.orla), uuid4()
    typed(session, one, by=cast.orla, id=key)
    with pytest.raises(IdReused):
        typed(session, other, by=cast.orla, id=key)


def test_a_row_sent_again_after_posting_is_known(cast):
    (glove,) = in_service()
    session, key = day(cast.orla), uuid4()
    typed(session, glove, by=cast.orla, id=key)
    post(session, count=1, act=Act(cast.orla))
    assert typed(session, glove, by=cast.orla, id=key).test_id == key


@pytest.mark.django_db(transaction=True)
def test_two_clerks_scan_the_same_glove_at_the_same_moment(cast):
    """FAULTS B: one row is kept, the other clerk is told which."""
    (glove,) = in_service()
    session = day(cast.orla)
    barrier, became = threading.Barrier(2), []

    def scan(reading):
        barrier.wait()
        try:
            became.append(typed(session, glove, reading, by=cast.orla).position)
        except BenchRefused as error:
            became.append(error.code)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=scan, args=[reading]) for reading in ("12", "13")]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sorted(map(str, became)) == ["1", "ALREADY_HERE"]


# Correcting in the open


def test_a_second_scan_goes_to_the_row_that_is_there(cast):
    (glove,) = in_service()
    session = day(cast.orla)
    typed(session, glove, by=cast.orla)
    with pytest.raises(BenchRefused, match="in this session already, row 1"):
        typed(session, glove, "13", by=cast.orla)
    with pytest.raises(BenchRefused, match="in this session already"):
        typed(session, glove, "13", by=cast.orla, again=True)  # only what is void is repeated


def test_a_void_row_is_repeated_and_counts_as_a_retest(cast):
    (glove,) = in_service()
    session = day(cast.orla)
    void = typed(session, glove, None, by=cast.orla, flashover=True)
    row = typed(session, glove, by=cast.orla, again=True)
    void.refresh_from_db()
    assert (void.struck, row.retest, row.replaces, now(row).doubts) == (True, 1, void, ())


def test_a_correction_needs_a_reason_and_keeps_what_was_typed(cast):
    (glove,) = in_service()
    session = day(cast.orla)
    first = typed(session, glove, "15.2", by=cast.orla)
    with pytest.raises(BenchRefused, match="reason") as refused:
        typed(session, glove, "12.5", by=cast.orla, replaces=first.pk)
    assert refused.value.field == "why"
    second = typed(session, glove, "12.5", by=cast.orla, replaces=first.pk, why="two digits swapped")
    first.refresh_from_db()
    assert (first.struck, first.struck_why, first.leakage_ma) == (True, "two digits swapped", Decimal("15.2"))
    assert [row.position for row in queries.board(session).struck] == [1]
    assert now(second).row.retest == 0


def test_a_failed_reading_made_better_waits_for_another_person(cast):
    (glove,) = in_service()
    session = day(cast.orla)
    failed = typed(session, glove, "161", by=cast.orla)
    row = typed(session, glove, "16.0", by=cast.orla, replaces=failed.pk, why="the point was missing")
    assert now(row).doubts == ("BETTER_THAN_BEFORE",)
    for nobody in (None, cast.orla):
        with pytest.raises(BenchRefused, match="Another person"):
            confirm_rows(session, [row.pk], checker=nobody, act=Act(cast.orla))
    confirm_rows(session, [row.pk], checker=cast.dev, act=Act(cast.orla))
    assert now(row).doubts == ()


def test_a_failed_row_is_struck_only_with_another_person(cast):
    (glove,) = in_service()
    session = day(cast.orla)
    failed = typed(session, glove, "16.4", by=cast.orla)
    with pytest.raises(BenchRefused) as refused:
        strike_row(failed, why="wrong glove", act=Act(cast.orla))
    assert refused.value.code == "CHECKER_NEEDED"
    strike_row(failed, why="wrong glove", checker=cast.ines, act=Act(cast.orla))
    row = typed(session, glove, "12", by=cast.orla)
    assert now(row).doubts == ("BETTER_THAN_BEFORE",)


def test_five_equal_readings_are_in_doubt_until_somebody_else_confirms(cast):
    session, gloves = day(cast.orla), in_service(count=6)
    rows = [typed(session, glove, "12.5", by=cast.orla) for glove in gloves[:4]]
    assert [now(row).doubts for row in rows] == [()] * 4
    rows.append(typed(session, gloves[4], "12.5", by=cast.orla))
    assert [now(row).doubts for row in rows] == [("EQUAL_READINGS",)] * 5
    confirm_rows(session, [row.pk for row in rows], checker=cast.bertrand, act=Act(cast.orla))
    assert [now(row).doubts for row in rows] == [()] * 5
    assert {one.row.checker for one in queries.board(session).rows} == {cast.bertrand}
    assert now(typed(session, gloves[5], "12.5", by=cast.orla)).doubts == ()


def test_the_look_after_may_come_later_and_by_another_clerk(cast):
    (glove,) = in_service()
    session = day(cast.orla)
    row = typed(session, glove, by=cast.orla, look_after="")
    assert now(row).lacks_look
    other = builders.person("clerk", "second-clerk")
    give_looks(row, after="accept", act=Act(other))
    assert (now(row).outcome, now(row).lacks_look, now(row).row.looked_by) == ("accepted", False, other)
    with pytest.raises(BenchRefused, match="stated already"):
        give_looks(row, after="reject", act=Act(other))


# Grounding jumpers: the worked trap of 1.250 milliohm at 35 C


@pytest.mark.parametrize(
    ("length_m", "outcome", "corrected", "limit_20", "limit_warm"),
    [("3.048", "failed", "1.18", "1.1548", "1.204"), ("3.658", "accepted", "1.18", "1.3218", "1.3809")],
)
def test_a_jumper_shows_its_arithmetic(cast, length_m, outcome, corrected, limit_20, limit_warm):
    jumper = builders.jumper(cable_length_m=length_m)
    builders.tested(jumper)
    row = typed(
        day(cast.orla), jumper, "1.250", by=cast.orla, cable_temp_c=Decimal(35), method="dc_drop",
        material="copper", test_a=Decimal(100),
    )  # fmt: skip
    assert now(row).outcome == outcome
    details = row.judged["limit"]["details"]
    assert Decimal(details["corrected_mohm"]).quantize(Decimal("0.001")) == Decimal(corrected)
    assert Decimal(details["limit_20_mohm"]) == Decimal(limit_20)
    assert Decimal(details["limit_at_temperature_mohm"]).quantize(Decimal("0.0001")) - Decimal(
        limit_warm
    ) < Decimal("0.0005")


def test_without_temperature_or_length_nobody_can_say(cast):
    session, jumper = day(cast.orla), builders.jumper()
    builders.tested(jumper)
    with pytest.raises(BenchRefused, match="temperature of the cable") as refused:
        typed(session, jumper, "1.1", by=cast.orla, cable_temp_c=None)
    assert refused.value.field == "cable_temp_c"
    unmeasured = builders.jumper(cable_length_m=None)
    builders.tested(unmeasured)
    row = typed(session, unmeasured, "1.1", by=cast.orla, cable_temp_c=Decimal(20))
    assert (now(row).outcome, codes(row)) == ("unjudged", ["LENGTH_NOT_STATED"])


@pytest.mark.parametrize(
    ("way", "reading", "outcome", "code"),
    [
        ({"method": "ac_impedance"}, "1.1", "accepted", None),
        ({"method": "ac_impedance"}, "1.3", "unjudged", "IMPEDANCE_ABOVE_LIMIT"),
        ({"material": "aluminum"}, "0.9", "unjudged", "MATERIAL_WITHOUT_LIMIT"),
        ({"method": "dc_meter", "material": "copper"}, "1.3", "failed", "RESISTANCE_ABOVE_LIMIT"),
    ],
)
def test_only_a_dc_resistance_of_copper_is_held_against_the_limit(cast, way, reading, outcome, code):
    jumper = builders.jumper(cable_length_m="3.048")
    builders.tested(jumper)
    row = typed(day(cast.orla), jumper, reading, by=cast.orla, cable_temp_c=Decimal(20), **way)
    assert now(row).outcome == outcome
    assert codes(row) == ([code] if code else [])


# A closed session does not change


def test_nothing_joins_a_session_that_is_closed(cast):
    one, other = in_service(count=2)
    session = day(cast.orla)
    typed(session, one, by=cast.orla)
    post(session, count=1, act=Act(cast.orla))
    with pytest.raises(BenchRefused, match="takes no more rows"):
        typed(session, other, by=cast.orla)
    left = day(cast.orla)
    abandon_session(left, why="the tank leaks", act=Act(cast.orla))
    with pytest.raises(BenchRefused, match="was abandoned"):
        typed(left, other, by=cast.orla)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE inspections_benchrow SET leakage_ma = 1",
        "DELETE FROM inspections_benchrow",
        "UPDATE inspections_benchsession SET state = 'open', posted_by_id = NULL, posted_at = NULL",
        "DELETE FROM inspections_benchsession",
        (
            "INSERT INTO inspections_benchrow (id, session_id, position, item_id, by_id, at, outcome, judged, method,"
            " material, look_before, look_after, why, struck_why, breakdown, flashover, struck, retest)"
            " SELECT '00000000000000000000000000000001', session_id, 99, item_id, by_id, at, outcome, judged, method,"
            " material, look_before, look_after, why, struck_why, breakdown, flashover, struck, retest"
            " FROM inspections_benchrow"
        ),
    ],
)
def test_the_database_itself_keeps_what_was_posted(cast, statement):
    (glove,) = in_service()
    session = day(cast.orla, tested_on=builders.today() - timedelta(days=1))
    typed(session, glove, by=cast.orla)
    post(session, count=1, act=Act(cast.orla))
    with (
        pytest.raises(DatabaseError, match=inspections.guards.MESSAGE),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement)
