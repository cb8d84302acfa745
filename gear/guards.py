"""Database triggers that refuse UPDATE, DELETE and TRUNCATE on evidence, on SQLite and PostgreSQL."""

from __future__ import annotations

from django.apps import apps
from django.db import connections

MESSAGE = "evidence is append-only"
_FUNCTION = f"""CREATE OR REPLACE FUNCTION evidence_append_only() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION '{MESSAGE}'; END $$"""


def tables() -> list[str]:
    """Every evidence table: those of all models that derive from AppendOnly."""
    from gear.models import AppendOnly

    return sorted(model._meta.db_table for model in apps.get_models() if issubclass(model, AppendOnly))


def after_migrate(*, using: str = "default", **_ignored) -> None:
    """Put the triggers on every evidence table that exists."""
    install(connections[using])


def install(connection) -> None:
    """Create the triggers that are missing; harmless when they are all there."""
    present = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_FUNCTION)
        for table in set(tables()) & present:
            for statement in _statements(connection.vendor, table):
                cursor.execute(statement)


def remove(connection) -> None:
    """Drop the triggers. Only a test that must empty its tables may ask for this."""
    with connection.cursor() as cursor:
        for name, table in _present(connection):
            on = f' ON "{table}"' if connection.vendor == "postgresql" else ""
            cursor.execute(f'DROP TRIGGER IF EXISTS "{name}"{on}')


def missing(connection) -> list[str]:
    """Names of triggers that should be there and are not."""
    present = {name for name, _table in _present(connection)}
    return [name for table in tables() for name in _names(connection.vendor, table) if name not in present]


def _names(vendor: str, table: str) -> list[str]:
    verbs = ("update", "delete", "truncate") if vendor == "postgresql" else ("update", "delete", "replace")
    return [f"{table}_no_{verb}" for verb in verbs]


def _statements(vendor: str, table: str) -> list[str]:
    update, delete, third = _names(vendor, table)
    if vendor == "postgresql":
        make = (
            "CREATE OR REPLACE TRIGGER {} BEFORE {} ON {} FOR EACH {} EXECUTE FUNCTION evidence_append_only()"
        )
        return [
            make.format(f'"{update}"', "UPDATE", f'"{table}"', "ROW"),
            make.format(f'"{delete}"', "DELETE", f'"{table}"', "ROW"),
            make.format(f'"{third}"', "TRUNCATE", f'"{table}"', "STATEMENT"),
        ]
    make = (
        "CREATE TRIGGER IF NOT EXISTS {} BEFORE {} ON {} {}BEGIN SELECT RAISE(ABORT, '" + MESSAGE + "'); END"
    )
    key = _primary_key(table)
    # INSERT OR REPLACE deletes the old row without firing the delete trigger.
    known = f'WHEN EXISTS (SELECT 1 FROM "{table}" WHERE "{key}" = NEW."{key}") '
    return [
        make.format(f'"{update}"', "UPDATE", f'"{table}"', ""),
        make.format(f'"{delete}"', "DELETE", f'"{table}"', ""),
        make.format(f'"{third}"', "INSERT", f'"{table}"', known),
    ]


def _primary_key(table: str) -> str:
    return next(model._meta.pk.column for model in apps.get_models() if model._meta.db_table == table)


def _present(connection) -> list[tuple[str, str]]:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT t.tgname, c.relname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid"
                " WHERE NOT t.tgisinternal AND t.tgname LIKE '%%\\_no\\_%%'"
            )
        else:
            cursor.execute(
                "SELECT name, tbl_name FROM sqlite_master WHERE type = 'trigger'"
                " AND name LIKE '%%\\_no\\_%%' ESCAPE '\\'"
            )
        return [(name, table) for name, table in cursor.fetchall()]
