"""The database itself refuses to change or remove evidence, whoever asks and by whatever statement."""

# ruff: noqa: S608 - what tries every table names the tables itself
import pytest
from django.apps import apps
from django.core.management.sql import emit_post_migrate_signal
from django.db import DatabaseError, connection, migrations, models, transaction
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone

from gear import guards
from gear.ledger import append, make_seal
from gear.models import (
    AppendOnly,
    BatchHold,
    DestructionBatch,
    Entry,
    EvidenceKept,
    GivenAnswer,
    HoldBatch,
    ImportedFile,
    Label,
    LabelPrint,
    Membership,
    NightlyResult,
    PrintedLabel,
    Qualification,
    Refusal,
    Seal,
    SightingNote,
    StaleUseNote,
    Submission,
)
from gear.models.evidence import Immutable
from inspections.models import (
    Calibration,
    ElectricalTest,
    Instrument,
    LabFile,
    LabMapping,
    Shipment,
    ShipmentOutcome,
    Visit,
    VisitPiece,
    VisitRow,
)
from reports.models import WeeklyCapacity
from tests import builders
from tests.gear.sealed_rows import MAKE
from tests.inspections.sealed_rows import MAKE as MAKE_OF_INSPECTIONS
from tests.reports.sealed_rows import MAKE as MAKE_OF_REPORTS

pytestmark = pytest.mark.django_db
MODELS = sorted(
    (model for model in apps.get_models() if issubclass(model, AppendOnly)),
    key=lambda model: model._meta.db_table,
)


@pytest.fixture
def evidence(db):
    """At least one row in every evidence table."""
    blanket = builders.blanket("B-1", label="ABCDEFGHJKM")
    builders.pair()
    (entry,) = builders.tested(blanket)
    for make in (*MAKE.values(), *MAKE_OF_INSPECTIONS.values(), *MAKE_OF_REPORTS.values()):
        append(make())
    make_seal(timezone.now())
    ElectricalTest.objects.create(
        entry=entry,
        item=blanket,
        tested_on=entry.occurred_on,
        purpose="in_service",
        visual="accept",
        calibration="not_on_file",
        outcome="void",
        pack="us_federal 1",
        identity="x",
    )
    today = entry.occurred_on
    person = builders.person("clerk", "orla")
    Qualification.objects.create(person=person, from_on=today, until_on=today, entry=entry)
    visit = Visit.objects.create(
        number="M-0001", organisation="Harrow Bay", expected_until=today, started_at=timezone.now()
    )
    row = VisitRow.objects.create(visit=visit, place=1, kept_at=timezone.now())
    VisitPiece.objects.create(visit=visit, row=row, item=blanket)
    shipment_outcome(blanket)
    SightingNote.objects.create(answer=GivenAnswer.objects.first(), entry=entry)
    StaleUseNote.objects.create(look=entry, entry=entry)
    NightlyResult.objects.create(run=entry.pk, at=timezone.now(), step="seal", ok=True, sentence="Sealed.")
    EvidenceKept.objects.create(entry=entry, item=blanket)
    witness = builders.person("worker", "dev")
    DestructionBatch.objects.create(
        number=1, by=person, witness=witness, destroyed_at=timezone.now(), reason="cut up", pieces=[]
    )
    meter = Instrument.objects.create(name="M-2", kind="meter")
    Calibration.objects.create(entry=entry, instrument=meter, calibrated_on=today, in_tolerance=True)
    BatchHold.objects.create(entry=entry, batch=HoldBatch.objects.get(), item=blanket)
    PrintedLabel.objects.create(printing=LabelPrint.objects.get(), label=Label.objects.get())
    bench = builders.holder("bench")
    WeeklyCapacity.objects.create(place=bench, pieces=40, first_week=today, at=timezone.now(), by=person)
    connection.check_constraints()  # nothing is left to check, which PostgreSQL asks for before TRUNCATE


def shipment_outcome(item):
    """A piece that came back from a lab and was on no line, and a file of the lab."""
    number, now = "L-0001", timezone.now()
    lab = builders.holder("lab", "The lab")
    carton = Shipment.objects.create(number=number, lab=lab, expected_on=now.date(), started_at=now)
    ShipmentOutcome.objects.create(shipment=carton, item=item, outcome="extra", at=now)
    mapping = LabMapping.objects.create(name="gloves", version=1, lab=lab, content={}, made_at=now)
    LabFile.objects.create(file=ImportedFile.objects.order_by("at").first(), mapping=mapping)


def test_every_evidence_table_is_known():
    assert {
        Entry,
        Label,
        Membership,
        Qualification,
        Refusal,
        DestructionBatch,
        SightingNote,
        StaleUseNote,
        NightlyResult,
        EvidenceKept,
        GivenAnswer,
        Submission,
        LabelPrint,
        PrintedLabel,
        ImportedFile,
        Seal,
        HoldBatch,
        BatchHold,
        ElectricalTest,
        LabFile,
        LabMapping,
        ShipmentOutcome,
        Calibration,
        VisitPiece,
        WeeklyCapacity,
        *MAKE_OF_INSPECTIONS,
        *MAKE_OF_REPORTS,
    } <= set(MODELS)
    assert guards.tables() == [model._meta.db_table for model in MODELS]


def run(sql, *params):
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, params)


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_the_database_refuses_every_way_of_changing_a_row(evidence, model):
    table, key = model._meta.db_table, model._meta.pk.column
    columns = ", ".join(f'"{field.column}"' for field in model._meta.fields)
    count = model.objects.count()
    assert count
    statements = {
        "update": f'UPDATE {table} SET "{key}" = "{key}"',
        "update another column": f'UPDATE {table} SET "{model._meta.fields[-1].column}" = NULL',
        "delete": f"DELETE FROM {table}",
    }
    if connection.vendor == "postgresql":
        statements["truncate"] = f"TRUNCATE {table} CASCADE"
        statements["upsert"] = (
            f'INSERT INTO {table} ({columns}) SELECT {columns} FROM {table} ON CONFLICT ("{key}")'
            f' DO UPDATE SET "{key}" = excluded."{key}"'
        )
    else:
        statements["replace"] = f"INSERT OR REPLACE INTO {table} ({columns}) SELECT {columns} FROM {table}"
        statements["update or replace"] = f'UPDATE OR REPLACE {table} SET "{key}" = "{key}"'
        statements["upsert"] = (
            f'INSERT INTO {table} ({columns}) SELECT {columns} FROM {table} WHERE true ON CONFLICT ("{key}")'
            f' DO UPDATE SET "{key}" = excluded."{key}"'
        )
    for name, sql in statements.items():
        with pytest.raises(DatabaseError, match=guards.MESSAGE):
            run(sql)
        assert model.objects.count() == count, name


REPLACED = [
    # another row in the way of each unique key but the primary one
    ("gear_entry", {"id": "'f' || substr(id, 2)"}, "item_id IS NOT NULL"),
    ("gear_entry", {"id": "'f' || substr(id, 2)"}, "gear_set_id IS NOT NULL"),
    ("gear_label", {"code": "'BBBBBBBBBBB'"}, "1"),
    ("gear_membership", {"id": "id + 1000"}, "1"),
    ("gear_printedlabel", {"id": "id + 1000"}, "1"),
    ("gear_seal", {"number": "number + 1000"}, "1"),
    ("gear_holdbatch", {"id": "'f' || substr(id, 2)"}, "1"),
    ("inspections_electricaltest", {"entry_id": "'f' || substr(entry_id, 2)"}, "1"),
]


@pytest.mark.parametrize(("table", "changed", "where"), REPLACED)
def test_no_other_unique_key_lets_a_row_be_replaced(evidence, table, changed, where):
    """SQLite deletes what stands in the way of INSERT OR REPLACE, by any key, without a trigger on DELETE."""
    if connection.vendor != "sqlite":
        with (
            connection.cursor() as cursor,
            pytest.raises(DatabaseError, match="syntax error"),
            transaction.atomic(),
        ):
            cursor.execute(f"INSERT OR REPLACE INTO {table} DEFAULT VALUES")
        return
    model = next(model for model in MODELS if model._meta.db_table == table)
    names = [field.column for field in model._meta.fields]
    values = ", ".join(changed.get(name, f'"{name}"') for name in names)
    columns = ", ".join(f'"{name}"' for name in names)
    before = sorted(model.objects.values_list("pk", flat=True))
    with pytest.raises(DatabaseError, match=guards.MESSAGE):
        run(f"INSERT OR REPLACE INTO {table} ({columns}) SELECT {values} FROM {table} WHERE {where} LIMIT 1")
    assert sorted(model.objects.values_list("pk", flat=True)) == before


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_the_models_refuse_too_with_a_sentence(evidence, model):
    row = model.objects.first()
    for change in (
        row.save,
        row.delete,
        model.objects.all().delete,
        lambda: model.objects.update(pk=row.pk),
        lambda: model.objects.bulk_update([row], [model._meta.fields[-1].name]),
    ):
        with pytest.raises(Immutable, match="Enter a correction"):
            change()


def test_everything_is_guarded_and_putting_the_guards_up_again_changes_nothing(db):
    assert guards.missing(connection) == []
    guards.install(connection)
    assert guards.missing(connection) == []


def test_guards_that_were_taken_down_are_missed_and_put_back(db):
    guards.remove(connection)
    assert len(guards.missing(connection)) == 3 * len(MODELS)
    guards.install(connection)
    assert guards.missing(connection) == []


@pytest.mark.django_db(transaction=True)
def test_a_migration_that_rebuilds_a_table_leaves_no_table_unguarded(evidence):
    """SQLite rebuilds a table to alter a column, and its triggers go without a word; post_migrate puts them back."""
    shorter = migrations.AlterField("Refusal", "detail", models.CharField(max_length=3000, blank=True))
    before = MigrationExecutor(connection).loader.project_state()
    after = before.clone()
    shorter.state_forwards("gear", after)
    try:
        with connection.schema_editor() as editor:
            shorter.database_forwards("gear", editor, before, after)
        lost = guards.missing(connection)
        assert bool(lost) is (connection.vendor == "sqlite")
        emit_post_migrate_signal(0, False, "default")
        assert guards.missing(connection) == []
        with pytest.raises(DatabaseError, match=guards.MESSAGE):
            run("UPDATE gear_refusal SET code = 'x'")
    finally:
        with connection.schema_editor() as editor:
            shorter.database_backwards("gear", editor, after, before)


def test_a_partial_key_that_cannot_be_guarded_is_refused_when_the_guards_go_up():
    condition = models.Q(kind="held") | models.Q(item__isnull=True)
    with pytest.raises(TypeError, match="cannot be guarded"):
        guards._both(Entry, condition)
    with pytest.raises(TypeError, match=r"gear\.Entry by kind"):
        guards._both(Entry, models.Q(kind="held"))
