"""A small book with something of every kind on record, and ways to change an export of it."""

import hashlib
import json
from datetime import date
from types import SimpleNamespace
from zipfile import ZipFile

from django.apps import apps
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import connection
from django.utils import timezone

import inspections.guards
from gear import guards
from gear.actions.acting import Act
from gear.actions.qualifications import qualify
from gear.ledger import append, make_seal
from gear.ledger.rows import APPS
from inspections.actions.bench_posting import post
from inspections.models import Device
from reports.rules.verify_export import MANIFEST, canonical
from tests import builders
from tests.gear.sealed_rows import MAKE as OF_GEAR
from tests.gear.sealed_rows import given, photo
from tests.inspections import bench_day, cartons
from tests.inspections.sealed_rows import MAKE as OF_INSPECTIONS
from tests.reports.harbour import harbour_gear
from tests.reports.sealed_rows import MAKE as OF_REPORTS

PICTURE = b"\xff\xd8 not much of a picture \xff\xd9"


def people() -> SimpleNamespace:
    """The cast, without passwords."""
    roles = {"orla": "clerk", "dev": "worker", "ines": "supervisor", "pim": "administrator"}
    found = {name: builders.person(role, name) for name, role in roles.items()}
    return SimpleNamespace(**found, crew=builders.crew(), depot=builders.depot())


def everything(cast: SimpleNamespace) -> SimpleNamespace:
    """Harbour depot's Monday, a posted bench session, a carton at the lab, every sealed row, two seals, and one row
    that no seal covers yet."""
    fleet = harbour_gear(cast)
    builders.blanket("B-labelled", label="ABCDEFGHJKX", by=cast.orla)
    session = bench_day.day(cast.orla)
    for glove in bench_day.in_service(count=3):
        bench_day.typed(session, glove, by=cast.orla)
    post(session, count=3, act=Act(cast.orla))
    cartons.sent(cast.orla, builders.blanket("B-at-lab"))
    Device.objects.create(
        name="Tablet 1", kind="shared", digest="d" * 64, added_at=timezone.now(), added_by=cast.pim
    )
    qualify(
        cast.orla,
        from_on=date(2026, 1, 1),
        until_on=date(2027, 1, 31),
        reason="two days at the bench",
        act=Act(cast.ines),
    )
    path = default_storage.save("photos/2026/09/a.jpg", ContentFile(PICTURE))
    sha256 = hashlib.sha256(PICTURE).hexdigest()
    fleet.photo = photo(path=path, sha256=sha256, size=len(PICTURE))
    append(fleet.photo)
    for model, make in {**OF_GEAR, **OF_INSPECTIONS, **OF_REPORTS}.items():
        if model is not type(fleet.photo):
            append(make())
    fleet.first_seal = make_seal(timezone.now())
    builders.happened(fleet.due_in_7, "held", reason="été, “odd” smell", on=date(2026, 9, 13), by=cast.dev)
    append(given(fleet.due_in_7, by=cast.dev))
    fleet.seal = make_seal(timezone.now())
    append(given(fleet.held, by=cast.dev))
    return fleet


def emptied() -> None:
    """Take every row of ours away, as no installation does: what is left is one that was just set up."""
    tables = [model._meta.db_table for model in apps.get_models() if model._meta.app_label in APPS]
    for one in (guards, inspections.guards):
        one.remove(connection)
    with connection.cursor() as cursor:
        for table in tables:
            cursor.execute(f'DELETE FROM "{table}"')  # noqa: S608 - names of our own tables
    connection.check_constraints()
    for one in (guards, inspections.guards):
        one.install(connection)


# Exports as files by name


def unpacked(path) -> dict[str, bytes]:
    with ZipFile(path) as export:
        return {name: export.read(name) for name in export.namelist()}


def rows_in(content: bytes) -> list[dict]:
    return [json.loads(line) for line in content.splitlines()]


def lines_of(rows: list[dict]) -> bytes:
    return b"".join(canonical(row) + b"\n" for row in rows)


def with_rows(files: dict[str, bytes], name: str, rows: list[dict]) -> dict[str, bytes]:
    """The files with other rows in one of them, counted anew in the manifest."""
    manifest = json.loads(files[MANIFEST])
    for table in manifest["tables"]:
        if table["file"] == name:
            table["rows"] = len(rows)
    return {**files, name: lines_of(rows), MANIFEST: canonical(manifest)}
