"""Database triggers that refuse UPDATE, DELETE and TRUNCATE on evidence, on SQLite and PostgreSQL."""

from __future__ import annotations

from collections.abc import Collection

from django.apps import apps
from django.db import connections
from django.db.models import Q, UniqueConstraint

MESSAGE = "evidence is append-only"
_BODY = f" BEGIN RAISE EXCEPTION '{MESSAGE}'; END "
_FUNCTION = (
    f"CREATE OR REPLACE FUNCTION evidence_append_only() RETURNS trigger LANGUAGE plpgsql AS $${_BODY}$$"
)


def tables() -> list[str]:
    """Every evidence table: those of all models that derive from AppendOnly."""
    from gear.models import AppendOnly

    return sorted(model._meta.db_table for model in apps.get_models() if issubclass(model, AppendOnly))


def after_migrate(*, using: str = "default", **_ignored) -> None:
    """Put the triggers on every evidence table that exists."""
    install(connections[using])


def install(connection) -> None:
    """Create the triggers that are missing or not as they should be; harmless when they are all there."""
    present = set(connection.introspection.table_names())
    wanting = set(missing(connection))
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_FUNCTION)
        for table in tables():
            for name, statement in _triggers(connection.vendor, table).items():
                if table in present and name in wanting:
                    _drop(cursor, connection.vendor, name, table)
                    cursor.execute(statement)


def remove(connection, of: Collection[str] | None = None) -> None:
    """Drop the triggers of these tables, or of all. Only a test that tampers with its tables may ask for this."""
    present = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        for table in set(tables() if of is None else of) & present:
            for name in _triggers(connection.vendor, table):
                _drop(cursor, connection.vendor, name, table)


def missing(connection) -> list[str]:
    """Names of triggers that should be there and are not, are switched off, or do something else."""
    standing = _standing(connection)
    return [
        name
        for table in tables()
        for name, statement in _triggers(connection.vendor, table).items()
        if standing.get(name) != _shape(connection.vendor, name, table, statement)
    ]


def _drop(cursor, vendor: str, name: str, table: str) -> None:
    on = f' ON "{table}"' if vendor == "postgresql" else ""
    cursor.execute(f'DROP TRIGGER IF EXISTS "{name}"{on}')


def _triggers(vendor: str, table: str) -> dict[str, str]:
    """name: statement that creates it."""
    return _postgresql(table) if vendor == "postgresql" else _sqlite(table)


def _postgresql(table: str) -> dict[str, str]:
    return {
        f"{table}_no_{verb}": f'CREATE TRIGGER "{table}_no_{verb}" BEFORE {verb.upper()} ON "{table}" FOR EACH {each} '
        "EXECUTE FUNCTION evidence_append_only()"
        for verb, each in (("update", "ROW"), ("delete", "ROW"), ("truncate", "STATEMENT"))
    }


def _sqlite(table: str) -> dict[str, str]:
    refuse = f"BEGIN SELECT RAISE(ABORT, '{MESSAGE}'); END"
    # INSERT OR REPLACE deletes the row that stands in its way without firing the trigger on DELETE.
    known = " OR ".join(
        f'EXISTS (SELECT 1 FROM "{table}" WHERE {condition})'  # noqa: S608 - names from our own models
        for condition in _same_as_new(_model(table))
    )
    name = f"{table}_no_"
    return {
        f"{name}update": f'CREATE TRIGGER "{name}update" BEFORE UPDATE ON "{table}" {refuse}',
        f"{name}delete": f'CREATE TRIGGER "{name}delete" BEFORE DELETE ON "{table}" {refuse}',
        f"{name}replace": f'CREATE TRIGGER "{name}replace" BEFORE INSERT ON "{table}" WHEN {known} {refuse}',
    }


def _same_as_new(model) -> list[str]:
    """SQL conditions under which a row stands in the way of NEW, one for each unique key of the table."""
    keys = [([field.name], None) for field in model._meta.fields if field.unique]
    keys += [(names, None) for names in model._meta.unique_together]
    keys += [
        (constraint.fields, constraint.condition)
        for constraint in model._meta.constraints
        if isinstance(constraint, UniqueConstraint)
    ]
    return [
        " AND ".join(
            [*(f'"{_column(model, name)}" = NEW."{_column(model, name)}"' for name in names)]
            + _both(model, only)
        )
        for names, only in keys
    ]


def _both(model, condition: Q | None) -> list[str]:
    """The condition of a partial index, asked of the row and of NEW."""
    if condition is None:
        return []
    found = []
    for lookup, value in condition.children:
        name, _join, how = lookup.partition("__")
        if how != "isnull" or condition.connector != Q.AND:
            raise TypeError(f"A partial key of {model._meta.label} by {lookup} cannot be guarded.")
        null = f'"{_column(model, name)}" IS {"NULL" if value else "NOT NULL"}'
        found += [null, f"NEW.{null}"]
    return found


def _column(model, name: str) -> str:
    return model._meta.get_field(name).column


def _model(table: str):
    return next(model for model in apps.get_models() if model._meta.db_table == table)


def _standing(connection) -> dict[str, tuple]:
    """name: shape of every trigger that stands on an evidence table."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # tgtype packs row or statement, before, and the verb; a trigger that is switched off has another tgenabled.
            cursor.execute(
                "SELECT t.tgname, c.relname, t.tgtype, t.tgenabled IN ('O', 'A') AND t.tgqual IS NULL,"
                " p.proname, p.prosrc FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid"
                " JOIN pg_proc p ON p.oid = t.tgfoid WHERE NOT t.tgisinternal"
            )
        else:
            cursor.execute("SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger'")
        return {name: tuple(shape) for name, *shape in cursor.fetchall()}


def _shape(vendor: str, name: str, table: str, statement: str) -> tuple:
    """The trigger as `_standing` tells it when it is as it should be."""
    if vendor == "sqlite":
        return (table, statement)
    row, before, delete, update, truncate = 1, 2, 8, 16, 32
    kind = {"update": row | update, "delete": row | delete, "truncate": truncate}[name.rpartition("_")[2]]
    return (table, kind | before, True, "evidence_append_only", _BODY)
