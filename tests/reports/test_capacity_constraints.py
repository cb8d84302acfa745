"""Every constraint of what bench and labs take has a case here that the database itself refuses, by its name."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from reports.models import WeeklyCapacity
from tests import builders

pytestmark = pytest.mark.django_db
MONDAY = date(2026, 9, 14)


def capacity(**columns):
    known = {"place": builders.holder("bench"), "pieces": 40, "first_week": MONDAY, "at": timezone.now()}
    return WeeklyCapacity(**{**known, "by": builders.person("clerk"), **columns})


# name of the constraint: a row that it refuses
CASES = {
    "weeklycapacity_kind_known": lambda: capacity(kind="mitten"),
    "weeklycapacity_ends_after_it_begins": lambda: capacity(last_week=MONDAY - timedelta(days=7)),
    "weeklycapacity_pieces_possible": lambda: capacity(pieces=100001),
}


@pytest.mark.parametrize("name", CASES)
def test_the_database_refuses_it(name):
    row = CASES[name]()
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        row.save()


def test_every_constraint_has_a_case():
    assert {one.name for one in WeeklyCapacity._meta.constraints} == set(CASES)
