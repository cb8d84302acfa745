"""The database itself refuses a test row that cannot be, however it is written."""

import math
from datetime import date
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, IntegrityError, connection, transaction

from gear import guards
from gear.models.evidence import Immutable
from inspections.models import Calibration, ElectricalTest, Instrument
from tests import builders

pytestmark = pytest.mark.django_db
ROW = {
    "tested_on": date(2026, 3, 2),
    "purpose": "in_service",
    "supply": "ac",
    "applied_v": 20000,
    "seconds": 60,
    "leakage_ma": Decimal("12.5"),
    "visual": "accept",
    "outcome": "accepted",
    "limit_ma": Decimal(16),
    "proof_v": 20000,
    "pack": "us_federal 1",
    "calibration": "not_stated",
}


def row(**columns) -> ElectricalTest:
    glove = builders.glove()
    (entry,) = builders.tested(glove, on=ROW["tested_on"])
    return ElectricalTest(entry=entry, item=glove, identity=str(entry.pk), **{**ROW, **columns})


@pytest.mark.parametrize(
    ("constraint", "columns"),
    [
        # what no bench can show
        ("electricaltest_leakage_ma_possible", {"leakage_ma": Decimal("-0.001"), "outcome": "void"}),
        ("electricaltest_leakage_ma_possible", {"leakage_ma": Decimal("1000.001"), "outcome": "failed"}),
        ("electricaltest_seconds_possible", {"seconds": 86_401}),
        ("electricaltest_applied_v_possible", {"applied_v": 1_000_001}),
        ("electricaltest_cable_temp_c_possible", {"cable_temp_c": Decimal("150.001")}),
        ("electricaltest_cable_temp_c_possible", {"cable_temp_c": Decimal("-60.001")}),
        ("electricaltest_resistance_mohm_possible", {"resistance_mohm": Decimal("-1")}),
        # words that are not in the test book
        ("electricaltest_purpose_known", {"purpose": "acceptance"}),
        ("electricaltest_supply_known", {"supply": "AC"}),
        ("electricaltest_visual_known", {"visual": "ok", "outcome": "void"}),
        ("electricaltest_lab_result_known", {"lab_result": "pass"}),
        ("electricaltest_outcome_known", {"outcome": "pass"}),
        ("electricaltest_looks_known", {"look_before": "ok"}),
        ("electricaltest_looks_known", {"look_after": "ok"}),
        ("electricaltest_method_known", {"method": "by_ear"}),
        ("electricaltest_material_known", {"material": "steel"}),
        ("electricaltest_test_a_possible", {"test_a": Decimal("1000.001")}),
        # an accepted test that nothing supports
        ("electricaltest_accepted_looked_at", {"visual": ""}),
        ("electricaltest_accepted_looked_at", {"visual": "test"}),
        ("electricaltest_accepted_looked_at", {"breakdown": True}),
        ("electricaltest_accepted_looked_at", {"flashover": True}),
        ("electricaltest_accepted_proved", {"applied_v": 19_999}),
        ("electricaltest_accepted_proved", {"applied_v": None}),
        ("electricaltest_accepted_in_limit", {"leakage_ma": Decimal("16.001")}),
        ("electricaltest_accepted_in_limit", {"leakage_ma": Decimal(0)}),
        ("electricaltest_accepted_in_limit", {"leakage_ma": None}),
    ],
)
def test_an_impossible_row_is_refused_by_name(constraint, columns):
    wrong = row(**columns)
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        wrong.save()
    assert not ElectricalTest.objects.exists()


def test_a_whole_number_below_zero_is_refused():
    with pytest.raises(IntegrityError), transaction.atomic():
        row(seconds=-1).save()


@pytest.mark.parametrize("value", [math.nan, math.inf, Decimal("NaN"), Decimal("Infinity")])
def test_nan_and_infinity_never_reach_a_row(value):
    """Also when the model is by-passed: as bulk_create, where `full_clean` does not run."""
    with (
        pytest.raises((IntegrityError, ValidationError, DatabaseError, ArithmeticError, ValueError)),
        transaction.atomic(),
    ):
        ElectricalTest.objects.bulk_create([row(leakage_ma=value)])
    assert not ElectricalTest.objects.exists()


def test_nan_written_past_django_is_refused():
    """SQLite stores NaN as null and PostgreSQL takes it for the greatest number: neither may pass for a reading."""
    sound = row()
    columns = [field.column for field in ElectricalTest._meta.fields]
    values = {
        field.column: field.get_db_prep_save(getattr(sound, field.attname), connection)
        for field in ElectricalTest._meta.fields
    }
    nan = "'NaN'::numeric" if connection.vendor == "postgresql" else "(9e999 - 9e999)"
    holes = ", ".join(nan if name == "leakage_ma" else "%s" for name in columns)
    quoted = ", ".join(f'"{name}"' for name in columns)
    with (
        pytest.raises(IntegrityError, match="leakage_ma_possible|accepted_in_limit"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(
            f'INSERT INTO "inspections_electricaltest" ({quoted}) VALUES ({holes})',  # noqa: S608 - fixed names
            [values[name] for name in columns if name != "leakage_ma"],
        )


def test_one_identity_has_one_row():
    first, second = row(), row()
    first.save()
    second.identity = first.identity
    with pytest.raises(IntegrityError), transaction.atomic():
        second.save()


def test_rows_are_evidence():
    saved = row()
    saved.save()
    for change in (
        saved.save,
        saved.delete,
        lambda: ElectricalTest.objects.update(leakage_ma=1),
        ElectricalTest.objects.all().delete,
    ):
        with pytest.raises(Immutable):
            change()
    for statement in (
        "UPDATE inspections_electricaltest SET seconds = 999",
        "DELETE FROM inspections_electricaltest",
    ):
        with (
            pytest.raises(DatabaseError, match=guards.MESSAGE),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(statement)
    assert ElectricalTest.objects.get().seconds == 60


@pytest.mark.parametrize(
    ("constraint", "columns"),
    [("instrument_named", {"name": ""}), ("instrument_kind_known", {"name": "M-2", "kind": "ruler"})],
)
def test_an_instrument_has_a_name_and_a_kind_that_there_is(constraint, columns):
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        Instrument.objects.create(**columns)


def test_two_instruments_do_not_differ_by_capitals_alone():
    Instrument.objects.create(name="Bench 2")
    with pytest.raises(IntegrityError, match="instrument_name_unique"), transaction.atomic():
        Instrument.objects.create(name="BENCH 2")


def test_a_calibration_does_not_end_before_it_begins():
    (entry,) = builders.tested(builders.glove())
    day, meter = ROW["tested_on"], Instrument.objects.create(name="M-2")
    columns = {"entry": entry, "instrument": meter, "calibrated_on": day, "in_tolerance": True}
    with (
        pytest.raises(IntegrityError, match="calibration_ends_after_it_begins"),
        transaction.atomic(),
    ):
        Calibration.objects.create(**columns, good_through=date(2026, 3, 1))
    Calibration.objects.create(**columns, good_through=day)
