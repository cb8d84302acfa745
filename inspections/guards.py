"""Database triggers that keep a bench session as it was once it is posted or abandoned, and a row once it is posted.

They guard against statements past the program; the program itself locks the session (actions.bench_sessions.locked).
"""

from __future__ import annotations

from typing import Any

from django.db import connections

MESSAGE = "a closed bench session does not change"
SESSION, ROW = "inspections_benchsession", "inspections_benchrow"
# trigger: (when, table, what refuses)
_CLOSED = f"EXISTS (SELECT 1 FROM {SESSION} s WHERE s.id = {{row}}.session_id AND s.state <> 'open')"  # noqa: S608
GUARDS = {
    "benchsession_closed_stays": ("UPDATE", SESSION, "OLD.state <> 'open'"),
    "benchsession_closed_is_kept": ("DELETE", SESSION, "OLD.state <> 'open'"),
    "benchrow_none_joins_closed": ("INSERT", ROW, _CLOSED.format(row="NEW")),
    "benchrow_closed_stays": ("UPDATE", ROW, f"OLD.test_id IS NOT NULL OR {_CLOSED.format(row='OLD')}"),
    "benchrow_closed_is_kept": ("DELETE", ROW, f"OLD.test_id IS NOT NULL OR {_CLOSED.format(row='OLD')}"),
}


def after_migrate(*, using: str = "default", **_ignored: Any) -> None:
    """Put the triggers on the tables where these exist."""
    install(connections[using])


def install(connection: Any) -> None:
    """Create the triggers anew, as they stand here."""
    if not {SESSION, ROW} <= set(connection.introspection.table_names()):
        return
    remove(connection)
    with connection.cursor() as cursor:
        for name, (verb, table, when) in GUARDS.items():
            for statement in _statements(connection.vendor, name, verb, table, when):
                cursor.execute(statement)


def remove(connection: Any) -> None:
    """Drop the triggers. Only a test that must empty its tables may ask for this."""
    if not {SESSION, ROW} <= set(connection.introspection.table_names()):
        return
    with connection.cursor() as cursor:
        for name, (_verb, table, _when) in GUARDS.items():
            on = f" ON {table}" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")


def missing(connection: Any) -> list[str]:
    """Names of triggers that should be there and are not, or are switched off."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT tgname FROM pg_trigger WHERE tgenabled IN ('O', 'A')"
            if connection.vendor == "postgresql"
            else "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        )
        standing = {name for (name,) in cursor.fetchall()}
    return [name for name in GUARDS if name not in standing]


def _statements(vendor: str, name: str, verb: str, table: str, when: str) -> list[str]:
    if vendor == "sqlite":
        refuse = f"BEGIN SELECT RAISE(ABORT, '{MESSAGE}'); END"
        return [f"CREATE TRIGGER {name} BEFORE {verb} ON {table} WHEN {when} {refuse}"]
    # PostgreSQL allows no subquery in WHEN, so the condition stands in a function of its own.
    gives = "OLD" if verb == "DELETE" else "NEW"
    body = f"BEGIN IF {when} THEN RAISE EXCEPTION '{MESSAGE}'; END IF; RETURN {gives}; END"
    return [
        f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ {body} $$",
        f"CREATE TRIGGER {name} BEFORE {verb} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()",
    ]
