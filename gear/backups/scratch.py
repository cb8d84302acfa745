"""Databases that are made, filled and taken away again beside the one of the installation, which goes on untouched."""

from __future__ import annotations

import os
import secrets
import shutil
import sqlite3
import subprocess
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from django.db import DatabaseError, connections
from django.db.utils import load_backend
from django.utils.translation import gettext as _

from gear.backups.archive import BackupRefused

Settings = dict[str, Any]
# Sign-ins and the counts of their tries: nobody's record, and nothing that should come back.
LEFT_OUT = ("django_session", "sign_in_attempts")


def current() -> Settings:
    """How the database of this installation is reached."""
    return dict(connections["default"].settings_dict)


@contextmanager
def looking_at(database: Mapping[str, Any]) -> Iterator[Any]:
    """Everything this thread reads and writes goes to another database meanwhile; its connection."""
    before = connections["default"]
    reached = {**before.settings_dict, **database}
    made = load_backend(reached["ENGINE"]).DatabaseWrapper(reached, "default")
    connections["default"] = made
    try:
        yield made
    finally:
        connections["default"] = before
        made.close()


@contextmanager
def back_at(connection: Any) -> Iterator[None]:
    """This thread reads from the database of a connection that is open already, for a moment."""
    before = connections["default"]
    connections["default"] = connection
    try:
        yield
    finally:
        connections["default"] = before


def is_sqlite(database: Mapping[str, Any]) -> bool:
    """Whether the database is a file of its own."""
    return str(database["ENGINE"]).endswith("sqlite3")


@contextmanager
def folder_beside(place: Path) -> Iterator[Path]:
    """A folder for drafts on the same disk, removed with all that is in it. Only its owner may look."""
    made = place / f".scratch-{secrets.token_hex(6)}"
    made.mkdir(mode=0o700)
    try:
        yield made
    finally:
        shutil.rmtree(made, ignore_errors=True)


def dump_sqlite(name: str, to: Path) -> None:
    """A consistent copy of a database in use, as one file. Never a copy of the file: that may be half written.

    It takes one read transaction for as long as the pages take to copy; writers wait for that on versions of SQLite
    that keep a rollback journal. Raises BackupRefused where it cannot be read, or the disk is full.
    """
    source, target = sqlite3.connect(name, timeout=60), sqlite3.connect(to)
    try:
        source.backup(target)
        target.execute("PRAGMA journal_mode=DELETE")  # one file, nothing beside it
        target.execute("PRAGMA secure_delete=ON")
        there = {row[0] for row in target.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        for table in there & set(LEFT_OUT):
            target.execute(f'DELETE FROM "{table}"')  # noqa: S608 - our own names
        target.commit()
    except sqlite3.Error as error:
        raise BackupRefused(
            _(
                "The database cannot be copied (%s). manage.py verify_ledger --database says whether it is damaged."
            )
            % error
        ) from error
    finally:
        target.close()
        source.close()
    to.chmod(0o600)


def check_sqlite(name: Path) -> None:
    """Raise BackupRefused unless the file is whole and every reference in it leads somewhere."""
    database = sqlite3.connect(name)
    try:
        whole = database.execute("PRAGMA integrity_check(1)").fetchone()[0]
        dangling = database.execute("PRAGMA foreign_key_check").fetchone()
    except sqlite3.DatabaseError as error:
        whole, dangling = str(error), None
    finally:
        database.close()
    if whole != "ok" or dangling:
        found = whole if whole != "ok" else _("a row of %s names one that is not there") % dangling[0]
        raise BackupRefused(_("The database in this backup is not whole (%s). Use another backup.") % found)


def dump_postgresql(database: Mapping[str, Any], to: Path, *, snapshot: str) -> None:
    """What pg_dump writes of that snapshot, in its custom format."""
    left_out = [f"--exclude-table-data={table}" for table in LEFT_OUT]
    options = ["--format=custom", "--no-owner", "--no-privileges", f"--snapshot={snapshot}", *left_out]
    _client("pg_dump", database, *options, f"--file={to}", str(database["NAME"]))


@contextmanager
def filled_postgresql(database: Mapping[str, Any], dump: Path | None) -> Iterator[Settings]:
    """A database of its own on the same server, filled from a dump (None: empty), and removed at the end unless it
    was given another name meanwhile."""
    name = f"{str(database['NAME'])[:40]}_scratch_{secrets.token_hex(4)}"
    with asking_server(database) as cursor:
        try:
            cursor.execute(f'CREATE DATABASE "{name}" TEMPLATE template0')
        except DatabaseError as error:
            raise BackupRefused(
                _(
                    "A scratch database cannot be made (%s). Give the database user of the service the right: "
                    'ALTER ROLE "%s" CREATEDB;'
                )
                % (str(error).strip(), database.get("USER"))
            ) from error
    try:
        if dump is not None:
            options = ["--no-owner", "--no-privileges", "--exit-on-error", "--single-transaction"]
            _client("pg_restore", database, *options, f"--dbname={name}", str(dump))
        yield {**database, "NAME": name}
    finally:
        with asking_server(database) as cursor:
            cursor.execute(f'DROP DATABASE IF EXISTS "{name}"')


@contextmanager
def asking_server(database: Mapping[str, Any]) -> Iterator[Any]:
    """A cursor of a connection to the server's own database, from which others can be made, renamed and dropped."""
    reached = {**connections["default"].settings_dict, **database, "NAME": "postgres"}
    made = load_backend(reached["ENGINE"]).DatabaseWrapper(reached, "default")
    try:
        with made.cursor() as cursor:
            yield cursor
    finally:
        made.close()


def _client(program: str, database: Mapping[str, Any], *arguments: str) -> None:
    reached = {
        "--host": database.get("HOST"),
        "--port": database.get("PORT"),
        "--username": database.get("USER"),
    }
    options = [f"{name}={value}" for name, value in reached.items() if value]
    variables = dict(os.environ)
    if database.get("PASSWORD"):
        variables["PGPASSWORD"] = str(
            database["PASSWORD"]
        )  # not on the command line, where others could read it
    try:
        done = subprocess.run(  # noqa: S603 - our own arguments
            [program, *options, *arguments], env=variables, capture_output=True, text=True, check=False
        )
    except FileNotFoundError:
        raise BackupRefused(
            _("The program %s is missing. Install the PostgreSQL client programs, of the server's version.")
            % program
        ) from None
    if done.returncode:
        why = (done.stderr.strip().splitlines() or [""])[0]
        raise BackupRefused(_("%(program)s failed: %(why)s") % {"program": program, "why": why})


def free_bytes(folder: Path) -> int:
    """Room on the disk of a folder for whoever runs this."""
    return shutil.disk_usage(folder).free


def size_of(database: Mapping[str, Any]) -> int:
    """How many bytes the database takes."""
    if is_sqlite(database):
        with suppress(FileNotFoundError):
            return Path(str(database["NAME"])).stat().st_size
        return 0
    with looking_at(database) as connection, connection.cursor() as cursor:
        cursor.execute("SELECT pg_database_size(current_database())")
        return cursor.fetchone()[0]
