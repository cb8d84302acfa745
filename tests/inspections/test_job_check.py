"""The job check against the record: what it reads, what it keeps, and that it says for ever what it said."""

from copy import copy
from datetime import timedelta
from decimal import Decimal

import pytest
from dateutil.relativedelta import relativedelta
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from gear.actions.acting import Act
from gear.ledger import Draft, make_seal, record, verify
from gear.models import ItemState, Refusal
from gear.permissions import NotAllowed
from gear.queries import question
from gear.rules import policy
from inspections.actions.jobs import TruckRefused, keep_job_check, record_truck
from inspections.models import JobCheck, TruckRecord
from inspections.queries import jobs as reads
from inspections.queries.jobs import Member
from inspections.rules.job import Job
from inspections.rules.job_kept import findings_from_json, findings_to_json, job_from_json, job_to_json
from inspections.rules.job_truck import TruckFacts
from tests import builders
from tests.inspections.job_crew import (
    against,
    ago,
    ahead,
    checked,
    found,
    ground_set,
    line,
    loaded,
    out_on_day,
    ready_crew,
    stocked,
    worn,
)
from tests.lasting import cast  # noqa: F401

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def ready(cast):
    return ready_crew(cast)


@pytest.fixture
def crew(ready):
    return copy(ready)


def test_a_crew_with_everything_is_good_and_the_answer_keeps_what_it_rests_on(crew):
    row = checked(crew)
    assert (row.verdict, row.truck, row.by, row.as_of) == (
        "good",
        crew.truck,
        crew.bertrand,
        builders.today(),
    )
    assert found(row, "PAIR_FITS")[0]["values"]["thing"] == "P-1"
    assert len(found(row, "PAIR_FITS")[0]["values"]["pieces"]) == 2
    assert list(found(row, "FITS")[0]["values"]["things"]) == ["B-1"]
    assert found(row, "SET_CARRIES")[0]["values"]["last_day"] == str(
        ago(30) + relativedelta(months=12, days=-1)
    )


def test_nothing_on_record_is_never_good(crew):
    row = keep_job_check(Job(), truck=None, crew=(), left_out=(), act=Act(crew.dev.person))
    assert row.verdict == "unknown"
    assert {"NO_TRUCK", "NO_CREW", "BLANK"} <= set(against(row))


# The demo's job: 24.9 kV multiphase, 13.2 kA cleared in 18 cycles, back in six days
def test_the_worked_job_names_what_is_too_low_too_small_and_out_of_date_and_where_better_is(crew):
    other = builders.holder("truck", "T-19", crew=crew.crew, depot=crew.depot)
    ground_set(crew.truck, "#2", "G-022")
    ground_set(other, "1/0", "G-031")
    ground_set(other, "#2", "G-032")
    loaded(crew.truck, item_no="B-417", tested=out_on_day(4))
    stocked(crew.shelf, set_no="P-300")
    stocked(crew.shelf, set_no="P-200", cls="2")
    stocked(crew.shelf, set_no="P-301", size="9")
    loaded(crew.shelf, item_no="B-500")
    row = checked(crew, system_v=24_900, fault_ka=Decimal("13.2"), primary_cycles=12, backup_cycles=18)
    assert row.verdict == "stop"
    assert against(row) == ["PAIR_TOO_LOW", "SET_TOO_SMALL", "OUT_BEFORE_RETURN"]
    low, small, out = (found(row, code)[0] for code in against(row))
    assert (low["values"]["needed"], [one["name"] for one in low["offers"]]) == ("3", ["P-300"])
    assert (small["values"]["thing"], small["values"]["withstand_ka"]) == ("G-022", "10")
    assert [(one["name"], one["holder"]["name"]) for one in small["offers"]] == [("G-031", "T-19")]
    assert (out["values"]["thing"], out["values"]["day"]) == ("B-417", 4)
    assert [one["name"] for one in out["offers"]] == ["B-500"]


def test_what_is_left_out_by_name_does_not_stop_the_job(crew):
    ground_set(crew.truck, "#2", "G-022")
    stops = checked(crew, fault_ka=Decimal("13.2"), backup_cycles=18)
    assert against(stops) == ["SET_TOO_SMALL"]
    row = checked(crew, left_out=["G-022"], fault_ka=Decimal("13.2"), backup_cycles=18)
    assert (row.verdict, row.asked["left_out"]) == ("good", ["G-022"])


def test_a_set_of_which_a_jumper_is_elsewhere_is_not_whole(crew):
    moved = ground_set(crew.truck, "4/0", "G-040")[2]
    builders.happened(moved, "returned", holder=crew.shelf.as_fact())
    row = checked(crew)
    assert [one["values"]["thing"] for one in found(row, "SET_APART")] == ["G-040"]


def test_what_is_lost_or_destroyed_is_told_and_stops_nothing(crew):
    gone = loaded(crew.truck, item_no="B-9")
    builders.happened(gone, "lost", reason="not seen")
    row = checked(crew)
    assert (row.verdict, found(row, "GONE")[0]["values"]["things"]) == ("good", ["B-9"])


@pytest.mark.parametrize("event", ["held", "rejected"])
def test_a_piece_that_is_not_good_today_stops_the_job(crew, event):
    builders.happened(loaded(crew.truck, item_no="B-8"), event, reason="cut")
    assert against(checked(crew)) == ["NOT_GOOD"]


def test_a_pair_on_a_shelf_is_offered_by_the_days_that_it_gives_once_issued(crew):
    """Tested 360 days ago and never issued: good today, and it would give four days more."""
    stocked(crew.shelf, set_no="P-300", tested=360)
    assert found(checked(crew, system_v=24_900), "PAIR_TOO_LOW")[0]["offers"] == []
    (offer,) = found(checked(crew, system_v=24_900, back_by=ahead(2)), "PAIR_TOO_LOW")[0]["offers"]
    assert offer["name"] == "P-300"


def test_a_pair_whose_issue_would_put_it_out_of_date_is_not_offered(crew):
    """Tested 250 days ago: within the shelf limit of a year, but the site counts six months from the test."""
    stocked(crew.shelf, set_no="P-300", tested=250)
    asked = {"system_v": 24_900, "back_by": ahead(2)}
    assert found(checked(crew, **asked), "PAIR_TOO_LOW")[0]["offers"] != []
    from_test = policy.to_json(policy.SitePolicy(count_from_test=True, source="manual 4.2"))
    stated = {"policy": from_test, "effective_from": str(ago(0)), "reason": "review"}
    record(Draft(None, "policy_set", stated), by=None, via="system")
    assert found(checked(crew, **asked), "PAIR_TOO_LOW")[0]["offers"] == []


def test_sizes_come_from_the_pair_of_the_highest_class(crew):
    worn(crew.dev, cls="0", size="9.5")
    worn(crew.dev, cls="00", size="8")
    marisol = builders.holder("person", "Marisol", crew=crew.crew)
    sizes = {one.holder: one.size for one in reads.members_of(crew.truck, question())}
    assert sizes == {crew.dev: "10", marisol: ""}


def test_another_size_than_the_pair_in_hand_stops(crew):
    assert against(checked(crew, members=[Member(crew.dev, "9")])) == ["PAIR_OTHER_SIZE"]


# Kept for ever
def test_a_check_says_for_ever_what_it_said(crew):
    row = checked(crew)
    builders.happened(ItemState.objects.filter(holder=crew.dev).first().item, "held", reason="odd smell")
    assert JobCheck.objects.get(pk=row.pk).verdict == "good"
    assert checked(crew).verdict == "stop"
    make_seal(timezone.now())
    assert verify.verify() == []


def test_what_is_kept_reads_back_as_it_was(crew):
    ground_set(crew.truck, "#2", "G-022")
    asked = line(fault_ka=Decimal("13.2"), backup_cycles=18, system_v=40_000)
    assert job_from_json(job_to_json(asked)) == asked
    assert job_from_json(job_to_json(Job())) == Job()
    row = JobCheck.objects.get(
        pk=checked(crew, fault_ka=Decimal("13.2"), backup_cycles=18, system_v=40_000).pk
    )
    read = findings_from_json(row.findings)
    assert findings_to_json(read) == row.findings
    assert read.verdict == row.verdict == "stop"


@pytest.mark.parametrize("role", ["halvard", "pim"])
def test_who_does_not_work_with_gear_checks_no_job(crew, role):
    with pytest.raises(NotAllowed):
        checked(crew, by=getattr(crew, role))
    assert Refusal.objects.get().act == "check_job"
    assert not JobCheck.objects.exists()


def test_the_check_that_speaks_for_a_truck_on_a_day_is_the_newest_whose_return_is_not_past(crew):
    assert reads.job_check_of(crew.truck, builders.today()) is None
    first, second = checked(crew), checked(crew, back_by=ahead(2))
    assert reads.job_check_of(crew.truck, builders.today()) == second
    assert reads.job_check_of(crew.truck, ahead(2)) == second
    assert reads.job_check_of(crew.truck, ahead(3)) == first
    assert reads.job_check_of(crew.truck, ahead(7)) is None
    assert reads.job_check_of(crew.truck, ago(1)) is None
    assert reads.job_check_of(builders.holder("truck", "T-01"), builders.today()) is None
    undated = checked(crew, back_by=None)
    assert reads.job_check_of(crew.truck, builders.today()) == undated
    assert reads.job_check_of(crew.truck, ahead(1)) == second


# Trucks
def test_the_newest_record_of_a_truck_counts_and_the_older_ones_stay(crew):
    record_truck(crew.truck, TruckFacts("T-12", True, True, 46_000, ahead(3)), act=Act(crew.orla))
    assert against(checked(crew)) == ["BOOM_OUT_BEFORE_RETURN"]
    assert [row.boom_good_through for row in reads.records_of(crew.truck)] == [ahead(3), ahead(200)]
    record_truck(crew.truck, TruckFacts("T-12", True, False), act=Act(crew.ines))
    assert against(checked(crew)) == ["NOT_INSULATED"]


def test_a_truck_without_a_record_leaves_it_open(crew):
    spare = builders.holder("truck", "T-30", crew=crew.crew)
    row = keep_job_check(
        line(sites=0), truck=spare, crew=[Member(crew.dev, "10")], left_out=(), act=Act(crew.orla)
    )
    assert (row.verdict, against(row)) == ("unknown", ["TRUCK_NOT_ON_RECORD"])


@pytest.mark.parametrize(
    ("facts", "code"),
    [
        (TruckFacts("T-12", True, False, 46_000), "BOOM_OF_NONE"),
        (TruckFacts("T-12", True, False, has_liner=True), "BOOM_OF_NONE"),
        (TruckFacts("T-12", True, True, 0), "RATING_WRONG"),
        (TruckFacts("T-12", True, True, 46_000, None, False, builders.RECEIVED_ON), "LINER_OF_NONE"),
    ],
)
def test_a_record_that_cannot_be_is_refused_and_nothing_is_kept(crew, facts, code):
    before = TruckRecord.objects.count()
    with pytest.raises(TruckRefused) as refused:
        record_truck(crew.truck, facts, act=Act(crew.orla))
    assert (refused.value.code, TruckRecord.objects.count()) == (code, before)


def test_only_the_office_records_a_truck_and_only_a_truck_has_a_boom(crew):
    with pytest.raises(NotAllowed):
        record_truck(crew.truck, TruckFacts("T-12", True, True), act=Act(crew.bertrand))
    with pytest.raises(TruckRefused, match="Only a truck"):
        record_truck(crew.dev, TruckFacts("Dev", True, True), act=Act(crew.orla))


# It stays quick
def test_the_number_of_queries_does_not_grow_with_what_there_is(crew):
    def count():
        members = reads.members_of(crew.truck, question())
        with CaptureQueriesContext(
            connection,
        ) as captured:
            reads.check_job(line(system_v=24_900), crew.truck, members, (), question())
        return len(captured)

    few = count()
    for number in range(4):
        loaded(crew.truck)
        ground_set(crew.truck, "1/0")
        worn(builders.holder("person", f"Worker {number}", crew=crew.crew))
        stocked(crew.shelf)
    assert count() == few < 40


def test_a_check_of_six_months_back_does_not_speak_for_today(crew):
    row = checked(crew, back_by=ahead(0))
    assert reads.job_check_of(crew.truck, builders.today() + timedelta(days=180)) is None
    assert row.back_by == builders.today()
