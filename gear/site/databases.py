"""How each database must be opened so that what was acknowledged is never lost."""

import sqlite3
from typing import Any

SQLITE = "django.db.backends.sqlite3"
POSTGRESQL = "django.db.backends.postgresql"

# Source: sqlite.org/wal.html, "The WAL Reset Bug": two or more connections in WAL mode can corrupt the file
# in versions 3.7.0 to 3.51.2.
FIRST_WITHOUT_WAL_RESET_BUG = (3, 51, 3)


def configure(
    database: dict[str, Any], *, sqlite_version: tuple[int, ...] = sqlite3.sqlite_version_info
) -> dict[str, Any]:
    """The alias for settings.DATABASES, made from what DATABASE_URL named."""
    if database["ENGINE"] == SQLITE:
        return {**database, "OPTIONS": _sqlite_options(sqlite_version)}
    options = {"connect_timeout": 10, **database.get("OPTIONS", {})}
    return {
        **database,
        "ENGINE": POSTGRESQL,
        "OPTIONS": options,
        "CONN_MAX_AGE": 60,
        "CONN_HEALTH_CHECKS": True,
    }


def journal_mode(sqlite_version: tuple[int, ...]) -> str:
    """WAL lets readers go on while one writes, so it is taken wherever it does not risk the file."""
    return "WAL" if sqlite_version >= FIRST_WITHOUT_WAL_RESET_BUG else "DELETE"


def _sqlite_options(sqlite_version: tuple[int, ...]) -> dict[str, Any]:
    return {
        # Else a transaction that reads and then writes fails at once when another writes.
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,  # seconds to wait for another writer
        "init_command": (
            f"PRAGMA journal_mode={journal_mode(sqlite_version)}; "
            "PRAGMA synchronous=FULL; "
            "PRAGMA foreign_keys=ON;"
        ),
    }
