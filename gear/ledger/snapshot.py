"""Reading everything as it stood in one moment, for as long as it takes, while others go on recording."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, connections, transaction


@contextmanager
def one_moment() -> Iterator[None]:
    """Every query of this thread sees the database as of one moment, and none can write.

    PostgreSQL has transactions that see one state and hold up nobody. A reader of an SQLite file keeps writers from
    committing, so the file is copied first (some 200 MB a second, in DATA_DIR) and the copy is read. Inside a
    transaction that is open already it is that transaction that is read.
    """
    connection = connections[DEFAULT_DB_ALIAS]
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "postgresql":
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield
    else:
        with _copied(connection) as copy:
            connections[DEFAULT_DB_ALIAS] = copy
            try:
                yield
            finally:
                connections[DEFAULT_DB_ALIAS] = connection
                copy.close()


@contextmanager
def _copied(connection: Any) -> Iterator[Any]:
    """A connection to a copy of an SQLite file that refuses every write; the copy is deleted at the end."""
    handle, path = tempfile.mkstemp(prefix="moment-", suffix=".sqlite3", dir=settings.DATA_DIR)
    os.close(handle)
    try:
        name = connection.settings_dict["NAME"]
        with closing(sqlite3.connect(name, timeout=20)) as source, closing(sqlite3.connect(path)) as target:
            source.backup(target)
        copy = connection.copy(connection.alias)
        options = {**copy.settings_dict["OPTIONS"], "init_command": "PRAGMA query_only=ON;"}
        copy.settings_dict |= {"NAME": path, "OPTIONS": options}
        yield copy
    finally:
        for beside in ("", "-wal", "-shm", "-journal"):
            Path(path + beside).unlink(missing_ok=True)
