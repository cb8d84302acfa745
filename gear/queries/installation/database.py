"""Is the database there, does it take what is written, and is it of this release?"""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import cache
from typing import Any

from django.conf import settings
from django.db import DatabaseError, OperationalError, connection, transaction
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.utils.translation import gettext as _

from gear.queries.health import RED, UNMIGRATED, UNREACHABLE, WELL, Finding

PROBE_BYTES = 64 * 1024  # more than a page, so that a full disk or a size limit shows
SQLITE_BUSY = 5  # sqlite.org/rescode.html


def check_database(now: datetime) -> Iterator[Finding]:
    """Reached, migrated, writable and opened as the settings say; the probe is a row that is rolled back."""
    title = _("Database")
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
        missing, ahead = migrations_apart()
    except DatabaseError:
        sentence = _(
            "The database does not answer. Nothing can be recorded and every answer is unknown: use the printed "
            "pack. See that its server runs and its disk is there, then read the log of this service."
        )
        yield Finding(UNREACHABLE, RED, title, sentence, bars=True)
        return
    if missing:
        sentence = _(
            "The database has no tables yet, or older ones than this program needs. Run: manage.py migrate"
        )
        yield Finding(UNMIGRATED, RED, title, sentence, bars=True)
        return
    if ahead:
        sentence = _(
            "The tables are newer than this program, which may write them wrongly. Start the release that made them."
        )
        yield Finding("MIGRATIONS_AHEAD", RED, title, sentence, bars=True)
    if why := why_not_writable():
        sentence = _(
            "Nothing can be recorded: the database refused a trial row (%s). Free its disk, or give it back its "
            "rights to write. What was recorded before is kept, and answers go on."
        )
        yield Finding("DATABASE_NOT_WRITABLE", RED, title, sentence % why, bars=True)
    elif astray := _journal_astray():
        sentence = _(
            "SQLite runs with %s, which is not what the settings ask for: records could be lost when the power "
            "fails. Stop every program that has the file open, then start the service again."
        )
        yield Finding("JOURNAL_DIFFERS", RED, title, sentence % astray)
    else:
        yield Finding("DATABASE", WELL, title, _("%s: reached, up to date, takes records.") % _version())


def migrations_apart() -> tuple[set[tuple[str, str]], set[tuple[str, str]]]:
    """(migrations of this program that the database lacks, those of our apps that only the database knows)."""
    shipped = _shipped()
    applied = set(MigrationRecorder(connection).applied_migrations())
    apps = {app for app, _name in shipped}
    return shipped - applied, {one for one in applied if one[0] in apps} - shipped


@cache
def _shipped() -> frozenset[tuple[str, str]]:
    """The files of a running program do not change."""
    return frozenset(MigrationLoader(None).disk_migrations)


def why_not_writable() -> str:
    """Empty where a row can be written, else what the database said. Nothing is left behind."""
    caches: Any = settings.CACHES
    table = connection.ops.quote_name(caches["sign_in"]["LOCATION"])
    # The table that counts sign-in attempts: no evidence stands in it, and a row in it means nothing by itself.
    statement = f"INSERT INTO {table} (cache_key, value, expires) VALUES (%s, %s, %s)"  # noqa: S608 - our own name
    row = [f"probe:{secrets.token_hex(16)}", "x" * PROBE_BYTES, datetime(1970, 1, 1)]  # noqa: DTZ001 - as it is kept
    try:
        with _without_waiting(), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement, row)
            transaction.set_rollback(True)
    except OperationalError as error:
        if getattr(error.__cause__, "sqlite_errorcode", 0) & 0xFF == SQLITE_BUSY:
            return ""  # somebody else is writing at this moment
        return _first_line(error)
    except DatabaseError as error:
        return _first_line(error)
    return ""


def _first_line(error: Exception) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0]


@contextmanager
def _without_waiting() -> Iterator[None]:
    """SQLite lets one write at a time; whoever looks at a page shall not wait for an import."""
    if connection.vendor != "sqlite":
        yield
        return
    with connection.cursor() as cursor:
        usual = int(cursor.execute("PRAGMA busy_timeout").fetchone()[0])
        cursor.execute("PRAGMA busy_timeout = 0")
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            cursor.execute(f"PRAGMA busy_timeout = {usual}")


def _journal_astray() -> str:
    """Empty, or the mode that SQLite really runs in where it is not the one asked for (sqlite.org/wal.html)."""
    if connection.vendor != "sqlite":
        return ""
    options: Any = connection.settings_dict["OPTIONS"]
    asked = str(options.get("init_command", "")).upper()
    with connection.cursor() as cursor:
        mode = str(cursor.execute("PRAGMA journal_mode").fetchone()[0]).upper()
        full = int(cursor.execute("PRAGMA synchronous").fetchone()[0]) >= 2
    if f"JOURNAL_MODE={mode}" not in asked:
        return f"journal_mode={mode}"
    return "" if full else "synchronous<FULL"


def _version() -> str:
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            mode = str(cursor.execute("PRAGMA journal_mode").fetchone()[0]).upper()
        return f"SQLite {'.'.join(map(str, connection.Database.sqlite_version_info))}, journal {mode}"
    number = connection.pg_version
    return f"PostgreSQL {number // 10000}.{number % 10000}"
