"""A bench session is posted as one act: everything that can be posted or nothing, once, and what stays out says why."""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import DatabaseError, connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from gear import queries as gear_queries
from gear.actions.acting import Act
from gear.ledger.verify import verify
from gear.models import Entry, Refusal
from gear.permissions import NotAllowed
from inspections import queries
from inspections.actions.bench_judging import BenchRefused
from inspections.actions.bench_posting import post, preview
from inspections.actions.bench_rows import confirm_rows, strike_row
from inspections.actions.bench_sessions import Particulars, abandon_session, change_session
from inspections.actions.corrections import correct_test
from inspections.forms.bench import first_values
from inspections.models import BenchSession, ElectricalTest, Instrument
from inspections.queries import detail_problems
from inspections.rules.acceptance import Reading
from inspections.rules.testfacts import Paper
from tests import builders
from tests.inspections.bench_day import day, in_service, qualified, typed

pytestmark = pytest.mark.django_db


def verdict(item) -> str:
    return gear_queries.answer(item.item_no, gear_queries.question()).verdict


def outcomes(plan) -> dict:
    return {one.row.row.item.item_no: one.outcome for one in plan.posting}


def left_out(plan) -> dict:
    return {one.row.row.item.item_no: one.code for one in plan.left_out}


@pytest.fixture
def demo(cast):
    """JOB: 12 of a bench day: 9 accepted, 2 rejected, 1 to be repeated."""
    session, gloves = day(cast.orla), in_service(count=12)
    readings = ["11.8", "12.4", "12.1", "16.4", "12.9", "12.2", "0", "11.9", "12.6", "12.3", "18.2", "12.0"]
    for glove, reading in zip(gloves, readings, strict=True):
        typed(session, glove, reading, by=cast.orla)
    return session, gloves


def test_posting_records_every_row_as_a_test_that_verifies(cast, demo):
    session, gloves = demo
    plan = post(session, count=12, act=Act(cast.orla))
    assert [plan.board.counts[name] for name in ("accepted", "failed", "void")] == [9, 2, 1]
    tests = ElectricalTest.objects.filter(session=session)
    assert sorted(tests.values_list("outcome", flat=True)) == ["accepted"] * 9 + ["failed"] * 2 + ["void"]
    session.refresh_from_db()
    assert (session.state, session.posted_by) == ("posted", cast.orla)
    assert verdict(gloves[3]) == "stop"
    row = ElectricalTest.objects.get(item=gloves[0])
    assert (row.operator, row.bench, row.instrument, row.water) == (
        "orla", "Bench 1", "M-1", "tap water, 64 mm below the cuff",
    )  # fmt: skip
    assert (row.look_before, row.look_after, row.visual) == ("accept", "accept", "accept")
    facts = row.entry.facts
    assert (facts["batch"], facts["readings"]["session"], row.entry.by) == (
        session.number,
        session.number,
        cast.orla,
    )
    assert list(detail_problems()) == []
    assert verify() == []


def test_a_row_that_points_to_another_session_is_found(cast, demo, past_the_guards):
    session, _gloves = demo
    post(session, count=12, act=Act(cast.orla))
    other = day(cast.orla)
    past_the_guards("UPDATE inspections_electricaltest SET session_id = %s WHERE leakage_ma = 12.4", other.pk)
    (problem,) = detail_problems()
    assert "session" in problem.sentence


def test_the_count_must_be_the_one_that_was_looked_at(cast, demo):
    session, _gloves = demo
    with pytest.raises(BenchRefused, match="11 was typed, and 12 rows would be posted now"):
        post(session, count=11, act=Act(cast.orla))
    assert not ElectricalTest.objects.exists()
    assert Refusal.objects.get().code == "COUNT_DIFFERS"


@pytest.mark.parametrize("who", ["dev", "ines", "halvard"])
def test_a_clerk_posts(cast, demo, who):
    with pytest.raises(NotAllowed):
        post(demo[0], count=12, act=Act(getattr(cast, who)))
    assert not ElectricalTest.objects.exists()


def test_a_database_that_fails_in_the_middle_leaves_nothing(cast, demo):
    """FEATURES 32: every statement that writes is made to fail in turn; none posts half."""
    session, _gloves = demo
    entries, failed, statement = Entry.objects.count(), 0, 0
    while True:
        statement += 1
        seen = 0

        def fails(execute, sql, params, many, context, at=statement):
            nonlocal seen
            if sql.lstrip().upper().startswith(("INSERT", "UPDATE")):
                seen += 1
                if seen == at:
                    raise DatabaseError("the disk is full")
            return execute(sql, params, many, context)

        try:
            with connection.execute_wrapper(fails):
                post(session, count=12, act=Act(cast.orla))
            break
        except DatabaseError:
            failed += 1
            assert Entry.objects.count() == entries
            assert not ElectricalTest.objects.exists()
            assert BenchSession.objects.get(pk=session.pk).is_open
            assert not session.rows.filter(test__isnull=False).exists()
    assert failed >= 5
    assert ElectricalTest.objects.count() == 12


def test_posting_twice_posts_once(cast, demo):
    session, _gloves = demo
    post(session, count=12, act=Act(cast.orla))
    with pytest.raises(BenchRefused, match="was posted"):
        post(session, count=12, act=Act(cast.orla))
    assert ElectricalTest.objects.count() == 12


def test_the_form_sent_twice_posts_once_and_shows_what_to_do_next(client, cast, demo):
    session, gloves = demo
    client.force_login(cast.orla)
    address = reverse("bench_post", args=[session.number])
    page = client.get(address).content.decode()
    assert "12 rows become tests on record" in page
    sent = {"id": str(uuid4()), "count": "12"}
    for _twice in range(2):
        page = client.post(address, sent, follow=True).content.decode()
    assert ElectricalTest.objects.count() == 12
    assert "Posted by orla" in page
    assert "Tag each" in page
    assert "test again in another session" in page
    assert gloves[3].item_no in page


@pytest.mark.parametrize(
    ("count", "told"), [("11", "11 was typed"), ("", "required"), ("all", "How many rows")]
)
def test_a_wrong_count_posts_nothing(client, cast, demo, count, told):
    client.force_login(cast.orla)
    address = reverse("bench_post", args=[demo[0].number])
    answer = client.post(address, {"id": str(uuid4()), "count": count})
    assert answer.status_code == 422
    assert told in answer.content.decode()
    assert not ElectricalTest.objects.exists()


# What bars all of it: FEATURES 61, the calibration on the day of the test


@pytest.mark.parametrize(("days", "bars"), [(-1, True), (0, False), (1, False), (None, False)])
def test_a_calibration_that_had_run_out_bars_posting(cast, days, bars):
    due = None if days is None else builders.today() + timedelta(days=days)
    Instrument.objects.create(name="M-9", calibration_due_on=due)
    session, (glove,) = day(cast.orla, instrument="m-9"), in_service()
    typed(session, glove, by=cast.orla)
    assert preview(session, act=Act(cast.orla)).bars == (["CALIBRATION_EXPIRED"] if bars else [])
    if bars:
        with pytest.raises(BenchRefused, match="calibration"):
            post(session, count=1, act=Act(cast.orla))
        assert not ElectricalTest.objects.exists()
    else:
        post(session, count=1, act=Act(cast.orla))
        assert ElectricalTest.objects.get().outcome == "accepted"


# What stays out


def test_rows_in_doubt_and_rows_without_a_look_stay_open(cast):
    session, gloves = day(cast.orla), in_service(count=7)
    rows = [typed(session, glove, "12.5", by=cast.orla) for glove in gloves[:5]]
    wet = typed(session, gloves[5], "12.1", by=cast.orla, look_after="")
    typed(session, gloves[6], "11.7", by=cast.orla)
    plan = preview(session, act=Act(cast.orla))
    assert set(left_out(plan).values()) == {"EQUAL_READINGS", "LOOK_MISSING"}
    post(session, count=1, act=Act(cast.orla))
    session.refresh_from_db()
    assert session.is_open
    confirm_rows(session, [row.pk for row in rows], checker=cast.ines, act=Act(cast.orla))
    strike_row(wet, why="taken home wet", act=Act(cast.orla))
    post(session, count=5, act=Act(cast.orla))
    session.refresh_from_db()
    assert (session.state, ElectricalTest.objects.filter(session=session).count()) == ("posted", 6)
    assert ElectricalTest.objects.filter(checker="ines").count() == 5


def test_what_rows_share_stands_once_some_are_posted(cast):
    session, (one, wet) = day(cast.orla), in_service(count=2)
    typed(session, one, by=cast.orla)
    typed(session, wet, by=cast.orla, look_after="")
    post(session, count=1, act=Act(cast.orla))
    with pytest.raises(BenchRefused, match="what they share stands"):
        change_session(session, Particulars(**first_values(session)), act=Act(cast.orla))


@pytest.mark.parametrize(
    ("until", "out"), [(-1, {"accepted": "POSTER_NOT_QUALIFIED"}), (0, {}), (30, {}), (None, {})]
)
def test_an_expired_qualification_bars_acceptances_and_nothing_else(cast, until, out):
    today = builders.today()
    if until is not None:
        qualified(cast.orla, until=today + timedelta(days=until))
    session, (good, bad) = day(cast.orla), in_service(count=2)
    typed(session, good, by=cast.orla)
    typed(session, bad, "16.4", by=cast.orla)
    plan = preview(session, act=Act(cast.orla))
    assert left_out(plan) == ({good.item_no: out["accepted"]} if out else {})
    assert outcomes(plan)[bad.item_no] == "failed"


def test_what_one_clerk_looked_at_without_qualification_another_cannot_post(cast):
    today = builders.today()
    qualified(cast.orla, until=today - timedelta(days=1))
    other = builders.person("clerk", "second-clerk")
    session, (glove,) = day(cast.orla), in_service()
    typed(session, glove, by=cast.orla)
    assert left_out(preview(session, act=Act(other))) == {glove.item_no: "OPERATOR_NOT_QUALIFIED"}


def test_a_piece_destroyed_meanwhile_stays_out(cast):
    session, (glove,) = day(cast.orla), in_service()
    typed(session, glove, by=cast.orla)
    builders.happened(glove, "rejected", reason="cut")
    builders.happened(glove, "destroyed", reason="cut up", witness="ines")
    plan = preview(session, act=Act(cast.orla))
    assert left_out(plan) == {glove.item_no: "DESTROYED_IS_FINAL"}
    with pytest.raises(BenchRefused, match="No row of this session"):
        post(session, count=0, act=Act(cast.orla))


def test_the_company_of_the_others_counts_when_it_is_posted(cast):
    session, gloves = day(cast.orla), in_service(count=6)
    for glove, reading in zip(gloves, ("3", "12", "12.4", "12.2", "12.6", "12.3"), strict=True):
        typed(session, glove, reading, by=cast.orla)
    post(session, count=6, act=Act(cast.orla))
    row = ElectricalTest.objects.get(item=gloves[0])
    assert (row.outcome, row.codes[0]["code"], row.codes[0]["count"]) == ("void", "LOW_FOR_SESSION", 5)


# Pairs and sets


def test_the_forgotten_right_is_named(client, cast):
    session = day(cast.orla)
    left, right = builders.pair("P-0617")
    other_left, other_right = builders.pair()
    builders.tested(left, right, other_left, other_right)
    for glove, reading in ((left, "12.1"), (other_left, "12.4"), (other_right, "12.2")):
        typed(session, glove, reading, by=cast.orla)
    missing = queries.mates_missing([one.row for one in queries.board(session).rows])
    assert [state.item for state in missing] == [right]
    client.force_login(cast.orla)
    page = client.get(reverse("bench_post", args=[session.number])).content.decode()
    assert "Of these sets, not tested" in page
    assert right.item_no in page


def test_a_failed_jumper_fails_its_set(cast):
    session = day(cast.orla)
    jumpers = builders.grounding_set(3, set_no="S-7", cable_length_m="3.048")
    builders.tested(*jumpers)
    for jumper, reading in zip(jumpers, ("1.1", "1.25", "1.05"), strict=True):
        typed(session, jumper, reading, by=cast.orla, cable_temp_c=Decimal(20), method="dc_meter")
    (found,) = queries.ground_sets(queries.board(session))
    assert (found.outcome, found.tested, found.pieces) == ("failed", 3, 3)
    post(session, count=3, act=Act(cast.orla))
    assert verdict(jumpers[1]) == "stop"
    assert set(ElectricalTest.objects.filter(session=session).values_list("method", flat=True)) == {
        "dc_meter"
    }


# A reason that only the corrected session asks for


def test_a_short_first_test_is_not_posted_without_a_reason_once_the_purpose_was_corrected(cast):
    session, new = day(cast.orla, purpose="first"), builders.glove()
    row = typed(session, new, seconds=60, by=cast.orla)  # too short for a first test: void
    stated = {**first_values(session), "purpose": "in_service"}
    session = change_session(session, Particulars(**stated), act=Act(cast.orla))
    assert left_out(preview(session, act=Act(cast.orla))) == {new.item_no: "SHORT_FOR_FIRST"}
    typed(session, new, replaces=row.pk, why="tested at the other depot before", by=cast.orla)
    assert outcomes(preview(session, act=Act(cast.orla))) == {new.item_no: "accepted"}


# What failed does not vanish with its session


def test_a_session_with_a_failed_row_is_abandoned_only_before_a_second_person(cast):
    session, (glove,) = day(cast.orla), in_service()
    row = typed(session, glove, None, breakdown=True, by=cast.orla)
    with pytest.raises(BenchRefused, match=f"Failed and not posted: {glove.item_no}"):
        abandon_session(session, why="the tank leaks", act=Act(cast.orla))
    strike_row(row, why="the lead touched the rack", checker=cast.ines, act=Act(cast.orla))
    assert abandon_session(session, why="the tank leaks", act=Act(cast.orla)).state == "abandoned"


def test_a_failed_row_gets_no_better_by_correcting_its_session(cast):
    session, (glove,) = day(cast.orla), in_service()
    typed(session, glove, "19", by=cast.orla)
    stated = {**first_values(session), "supply": "dc"}  # under DC there is no limit of current
    with pytest.raises(BenchRefused, match=f"would fail no more: {glove.item_no}"):
        change_session(session, Particulars(**stated), act=Act(cast.orla))
    session.refresh_from_db()
    assert session.supply == "ac"
    assert outcomes(preview(session, act=Act(cast.orla))) == {glove.item_no: "failed"}


# A correction later knows what the session knew


def test_a_corrected_reading_keeps_session_operator_and_looks(cast, demo):
    session, gloves = demo
    post(session, count=12, act=Act(cast.orla))
    entry = ElectricalTest.objects.get(item=gloves[0]).entry
    reading = Reading(
        entry.occurred_on, "in_service", "ac", 20_000, 60, leakage_ma=None, visual="reject", breakdown=False,
        flashover=False,
    )  # fmt: skip
    correct_test(entry, reading, Paper(instrument="M-1"), reason="the palm was cut", act=Act(cast.orla))
    row = ElectricalTest.objects.get(entry__kind="corrected")
    assert (row.session, row.operator, row.bench, row.look_before, row.look_after) == (
        session, "orla", "Bench 1", "", "",
    )  # fmt: skip
    assert list(detail_problems()) == []


def test_a_reading_too_low_for_its_session_stays_void_when_something_else_is_corrected(cast):
    session, gloves = day(cast.orla), in_service(count=6)
    for glove, reading in zip(gloves, ("3", "12", "12.1", "12.3", "12.2", "12.4"), strict=True):
        typed(session, glove, reading, by=cast.orla)
    post(session, count=6, act=Act(cast.orla))
    entry = ElectricalTest.objects.get(item=gloves[0]).entry
    same = Reading(
        entry.occurred_on, "in_service", "ac", 20_000, 60, leakage_ma=Decimal(3), visual="accept", breakdown=False,
        flashover=False,
    )  # fmt: skip
    correct_test(entry, same, Paper(instrument="M-2"), reason="another meter", act=Act(cast.ines))
    assert ElectricalTest.objects.get(entry__kind="corrected").outcome == "void"


def test_queries_of_posting_do_not_grow_with_rows(cast):
    counted = []
    for size in (5, 20):  # beyond, the ledger folds states in batches
        session = day(cast.orla)
        for place, glove in enumerate(in_service(count=size)):
            typed(session, glove, f"{12 + place % 7 / 10:.1f}", by=cast.orla)
        with CaptureQueriesContext(connection) as queries:
            post(session, count=size, act=Act(cast.orla))
        counted.append(len(queries))
    assert counted[0] == counted[1]


def test_nobody_accepts_at_the_bench_what_they_repaired(cast):
    session, glove, other = day(cast.orla), builders.glove(), builders.glove()
    yesterday = builders.today() - timedelta(days=1)
    builders.tested(glove, other, on=yesterday - timedelta(days=30))
    builders.happened(glove, "event", event="repaired", on=yesterday, by=cast.orla)
    builders.happened(other, "event", event="repaired", on=yesterday, by=builders.person("clerk", "runa"))
    for one in (glove, other):
        typed(session, one, by=cast.orla)
    plan = preview(session, act=Act(cast.orla))
    assert left_out(plan) == {glove.item_no: "OWN_REPAIR"}
    assert "Another person must" in plan.left_out[0].told
    assert set(outcomes(plan)) == {other.item_no}
