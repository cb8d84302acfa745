"""The whole record from one database to another, SQLite or PostgreSQL: every row under its key, proven at its end."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

from django.apps import apps
from django.conf import settings
from django.core.management import call_command
from django.core.management.color import no_style
from django.db import connections, models, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from gear.backups import occupancy, restoring, scratch, stated
from gear.backups.archive import BackupRefused
from gear.ledger.verify import verify

_AT_ONCE = 500
# Made by the migrations of the target itself, or by no model; what people recorded is in none of them.
NOT_MOVED = {*scratch.LEFT_OUT, "django_migrations"}


def move(target: scratch.Settings) -> dict[str, int]:
    """Copy every row into an empty database and prove it there: rows, heads, seals, chains, every answer.

    The source is only read. {table: rows moved}. Raises BackupRefused where the target holds anything or what
    arrived is not what is here, occupancy.InUse while the service runs; then the target is of no use and may be
    dropped.
    """
    with occupancy.alone(Path(settings.DATA_DIR)):
        if stated.open_to_us(applied := stated.applied()) or stated.unknown_to_us(applied):
            raise BackupRefused(_("The tables here are of another version. Run manage.py upgrade first."))
        at = timezone.now()
        with scratch.looking_at(target):
            if not restoring.is_empty():
                raise BackupRefused(_("The target has a record already. Name an empty database."))
            call_command("migrate", verbosity=0, interactive=False)
        _copy_all(target)
        here, answers_here = stated.stated(), list(stated.answers(at))
        with scratch.looking_at(target):
            _prove(here, answers_here, at)
        return _moved(here["rows"])


def _moved(rows: dict[str, int]) -> dict[str, int]:
    return {table: count for table, count in rows.items() if table not in NOT_MOVED}


def _models() -> list[type[models.Model]]:
    """Every table to be moved, those that name others before what they name.

    References are checked at the end of the transaction. A row of a session that was closed may only be stored while
    its session is not there yet: the triggers would refuse it as one that joins a closed session.
    """
    found = apps.get_models(include_auto_created=True)
    return [
        model for model in reversed(found) if model._meta.managed and model._meta.db_table not in NOT_MOVED
    ]


def _copy_all(target: scratch.Settings) -> None:
    source = connections["default"]
    with scratch.looking_at(target) as writing, transaction.atomic():
        for model in _models():
            if model._base_manager.exists():
                model._base_manager.all().delete()  # what the migrations of the target made by themselves
        for model in _models():
            for rows in _batches(source, model):
                model._base_manager.bulk_create(rows)
        with writing.cursor() as cursor:
            for statement in writing.ops.sequence_reset_sql(no_style(), _models()):
                cursor.execute(statement)


def _batches(source: Any, model: type[models.Model]) -> Iterator[list[models.Model]]:
    """The rows of a table in order of their keys, some at a time: as many as fit in memory whatever they hold."""
    heavy = any(isinstance(field, models.BinaryField) for field in model._meta.fields)
    last: Any = None
    while True:
        with scratch.back_at(source):
            ordered = model._base_manager.order_by("pk")
            rows = list(
                (ordered if last is None else ordered.filter(pk__gt=last))[: 5 if heavy else _AT_ONCE]
            )
        if not rows:
            return
        last = rows[-1].pk
        yield rows


def _prove(here: dict[str, Any], answers_here: list[dict[str, Any]], at: datetime) -> None:
    there = stated.stated()
    for name in ("entries", "newest_at", "head", "seal"):
        if here[name] != there[name]:
            raise BackupRefused(restoring.differs(name, here[name], there[name]))
    if _moved(here["rows"]) != _moved(there["rows"]):
        raise BackupRefused(restoring.differs("rows", _moved(here["rows"]), _moved(there["rows"])))
    if problems := verify():
        raise BackupRefused(problems[0].sentence)
    if changed := stated.changed(iter(answers_here), stated.answers(at)):
        raise BackupRefused(_("Answers there are others than here, the first: %s") % changed[0])
