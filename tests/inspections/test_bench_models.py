"""The database itself refuses a bench session or row that cannot be, by the name of the constraint."""

from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from inspections.models import BenchRow, BenchSession, ElectricalTest
from tests import builders

pytestmark = pytest.mark.django_db


def session(**columns) -> BenchSession:
    usual = {
        "number": f"BS-{BenchSession.objects.count() + 1:04d}",
        "tested_on": builders.today(),
        "bench": "Bench 1",
        "instrument": "M-1",
        "purpose": "in_service",
        "supply": "ac",
        "opened_by": builders.person("clerk", "orla"),
        "opened_at": timezone.now(),
    }
    return BenchSession.objects.create(**{**usual, **columns})


def row(of: BenchSession | None = None, **columns) -> BenchRow:
    of = of or session()
    usual = {
        "id": uuid4(),
        "session": of,
        "position": of.rows.count() + 1,
        "item": columns.pop("item", None) or builders.glove(),
        "by": builders.person("clerk", "orla"),
        "at": timezone.now(),
        "outcome": "accepted",
    }
    return BenchRow.objects.create(**{**usual, **columns})


def struck() -> dict:
    return {
        "struck": True,
        "struck_by": builders.person("clerk", "orla"),
        "struck_at": timezone.now(),
        "struck_why": "typed twice",
    }


def same_item_twice():
    of, glove = session(), builders.glove()
    row(of, item=glove)
    row(of, item=glove)


def same_place_twice():
    of = session()
    row(of, position=1)
    row(of, position=1)


def posted_and_struck():
    glove = builders.glove()
    (entry,) = builders.tested(glove)
    test = ElectricalTest.objects.create(
        entry=entry, item=glove, tested_on=entry.occurred_on, purpose="in_service", outcome="void", pack="p",
        calibration="not_stated", identity="x",
    )  # fmt: skip
    row(item=glove, test=test, **struck())


OFFENDERS = {
    "benchsession_numbered": lambda: session(number=""),
    "benchsession_instrument_named": lambda: session(instrument=""),
    "benchsession_purpose_known": lambda: session(purpose="acceptance"),
    "benchsession_supply_known": lambda: session(supply=""),
    "benchsession_state_known": lambda: session(state="paused"),
    "benchsession_posted_by_somebody": lambda: session(state="posted"),
    "benchsession_abandoned_by_somebody": lambda: session(state="abandoned"),
    "benchsession_ambient_c_possible": lambda: session(ambient_c=Decimal("80.01")),
    "benchsession_humidity_pct_possible": lambda: session(humidity_pct=Decimal("100.01")),
    "benchrow_position_unique": same_place_twice,
    "benchrow_one_live_row": same_item_twice,
    "benchrow_leakage_ma_possible": lambda: row(leakage_ma=Decimal("1000.001")),
    "benchrow_resistance_mohm_possible": lambda: row(resistance_mohm=Decimal("-0.001")),
    "benchrow_cable_temp_c_possible": lambda: row(cable_temp_c=Decimal("150.001")),
    "benchrow_applied_v_possible": lambda: row(applied_v=1_000_001),
    "benchrow_seconds_possible": lambda: row(seconds=86_401),
    "benchrow_test_a_possible": lambda: row(test_a=Decimal("1000.001")),
    "benchrow_looks_known": lambda: row(look_before="ok"),
    "benchrow_way_known": lambda: row(method="by_ear"),
    "benchrow_outcome_known": lambda: row(outcome="pass"),
    "benchrow_checker_is_another": lambda: row(
        checker=builders.person("clerk", "orla"), checked_at=timezone.now()
    ),
    "benchrow_struck_by_somebody": lambda: row(struck=True),
    "benchrow_posted_is_live": posted_and_struck,
}
# SQLite names the columns of a unique key, not the key
UNIQUE = {
    "benchrow_position_unique": "benchrow_position_unique|session_id, inspections_benchrow.position",
    "benchrow_one_live_row": "benchrow_one_live_row|session_id, inspections_benchrow.item_id",
}


@pytest.mark.parametrize("constraint", OFFENDERS)
def test_what_cannot_be_is_refused_by_name(constraint):
    with pytest.raises(IntegrityError, match=UNIQUE.get(constraint, constraint)), transaction.atomic():
        OFFENDERS[constraint]()


def test_every_constraint_has_its_case():
    named = {one.name for model in (BenchSession, BenchRow) for one in model._meta.constraints}
    assert named == OFFENDERS.keys()


def test_a_struck_row_leaves_room_for_another_of_the_same_item():
    of, glove = session(), builders.glove()
    row(of, item=glove, **struck())
    row(of, item=glove)
    assert of.rows.filter(struck=False).count() == 1


def test_one_item_stands_in_two_sessions():
    glove = builders.glove()
    row(item=glove)
    row(item=glove)
    assert BenchRow.objects.filter(item=glove).count() == 2
