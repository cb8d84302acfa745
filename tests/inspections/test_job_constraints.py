"""The database itself refuses a job check or a record of a truck that cannot be, by the name of the constraint."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction

from gear.ledger import append
from gear.models.evidence import Immutable
from inspections.models import JobCheck, TruckRecord
from tests import builders
from tests.inspections.sealed_rows import job_check, truck_record

pytestmark = pytest.mark.django_db
OFFENDERS = {
    "truckrecord_uninsulated_has_no_boom": lambda: truck_record(insulated=False),
    "truckrecord_rating_positive": lambda: truck_record(boom_rated_v=0),
    "truckrecord_only_a_liner_is_dated": lambda: truck_record(liner_good_through=builders.today()),
    "jobcheck_verdict_known": lambda: job_check(verdict="fine"),
    "jobcheck_good_only_for_a_whole_job": lambda: job_check(verdict="good", truck=None),
}


@pytest.mark.parametrize("name", sorted(OFFENDERS))
def test_what_cannot_be_is_refused_by_name(name):
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        append(OFFENDERS[name]())


def test_every_constraint_has_a_case():
    constraints = [*JobCheck._meta.constraints, *TruckRecord._meta.constraints]
    assert {one.name for one in constraints} == set(OFFENDERS)


@pytest.mark.parametrize("days", [None, -1])
def test_good_needs_a_back_by_day_that_is_not_past(days):
    back_by = None if days is None else builders.today() + timedelta(days=days)
    if days is None:
        append(job_check(verdict="good"))  # through today
    with pytest.raises(IntegrityError, match="jobcheck_good_only"), transaction.atomic():
        append(job_check(verdict="good", back_by=back_by))


@pytest.mark.parametrize("make", [job_check, truck_record])
def test_a_row_is_appended_through_the_ledger_and_never_changed(make):
    row = make()
    with pytest.raises(Immutable):
        row.save()
    append(row)
    with pytest.raises(Immutable):
        row.save()
    with pytest.raises(Immutable):
        row.delete()
