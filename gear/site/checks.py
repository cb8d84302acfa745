"""Checks of one installation as a whole: combinations that no single variable can show to be wrong."""

import re
import sqlite3
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.core import checks

from gear.site import databases

NETWORK_FILE_SYSTEMS = ("nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "fuse.sshfs", "fuse.glusterfs", "ceph")


@checks.register(checks.Tags.security)
def check_combinations(**_: Any) -> list[checks.CheckMessage]:
    host = urlsplit(settings.BASE_URL).hostname or ""
    is_https = settings.BASE_URL.startswith("https://")
    found: list[checks.CheckMessage] = []
    if not settings.DEBUG and not _is_allowed(host, settings.ALLOWED_HOSTS):
        hint = f"Add {host} to ALLOWED_HOSTS: every printed label leads there."
        found.append(checks.Error("The host of BASE_URL is not in ALLOWED_HOSTS.", hint=hint, id="gear.E001"))
    if settings.DEBUG and is_https:
        hint = "Leave DEBUG out: its error pages show settings and people's data to anyone."
        found.append(checks.Error("DEBUG is on at an https address.", hint=hint, id="gear.E002"))
    if settings.DEMO and settings.DATABASES["default"]["ENGINE"] != databases.SQLITE:
        hint = "Leave DATABASE_URL out, or DEMO: the demo's passwords are published."
        found.append(checks.Error("DEMO is on with a database server.", hint=hint, id="gear.E003"))
    return found


@checks.register(checks.Tags.database)
def check_embedded_database(**_: Any) -> list[checks.CheckMessage]:
    database = settings.DATABASES["default"]
    if database["ENGINE"] != databases.SQLITE:
        return []
    found: list[checks.CheckMessage] = []
    opening = database.get("OPTIONS", {}).get("init_command", "").upper()
    risky = databases.journal_mode(sqlite3.sqlite_version_info) != "WAL"
    if risky and "JOURNAL_MODE=WAL" in opening:
        hint = f"SQLite {sqlite3.sqlite_version} can corrupt it; use journal_mode=DELETE, or 3.51.3 or later."
        found.append(checks.Error("The embedded database is opened in WAL mode.", hint=hint, id="gear.E004"))
    kind = file_system_of(Path(str(database["NAME"])), mounts=_mounts())
    if kind in NETWORK_FILE_SYSTEMS:
        hint = "Move DATA_DIR to a local disk or use PostgreSQL: file locks over a network lose records."
        problem = f"The embedded database lies on a network disk ({kind})."
        found.append(checks.Error(problem, hint=hint, id="gear.E005"))
    return found


@checks.register(checks.Tags.security)
def check_secret_key_file(**_: Any) -> list[checks.CheckMessage]:
    path = settings.DATA_DIR / "secret_key"
    if path.exists() and path.stat().st_mode & 0o077:
        hint = f"Run: chmod 600 {path}"
        return [checks.Error("Others on this machine can read the secret key.", hint=hint, id="gear.E006")]
    return []


@checks.register(checks.Tags.security, deploy=True)
def check_deployment(**_: Any) -> list[checks.CheckMessage]:
    found: list[checks.CheckMessage] = []
    if not settings.BASE_URL.startswith("https://"):
        hint = "Set BASE_URL to the https:// address that people open; camera and offline use need it."
        found.append(checks.Warning("BASE_URL is not https.", hint=hint, id="gear.W001"))
    if settings.EMAIL_BACKEND.endswith("filebased.EmailBackend"):
        hint = "Set EMAIL_URL: until then reports are written to DATA_DIR/mail and reach nobody."
        found.append(checks.Warning("No mail server is set.", hint=hint, id="gear.W002"))
    if settings.DEMO:
        hint = "Leave DEMO out and start with an empty database."
        found.append(checks.Warning("DEMO is on: passwords are published.", hint=hint, id="gear.W003"))
    return found


def file_system_of(path: Path, *, mounts: list[tuple[str, str]]) -> str:
    """The kind of file system that holds `path`, from (mount point, kind) pairs; "" where none holds it."""
    holding = [(point, kind) for point, kind in mounts if path.is_relative_to(point)]
    return max(holding, key=lambda mount: len(mount[0]), default=("", ""))[1]


def _mounts() -> list[tuple[str, str]]:
    table = Path("/proc/mounts")
    if not table.exists():  # not Linux: nothing is known, nothing is claimed
        return []
    rows = (line.split() for line in table.read_text().splitlines())
    return [(re.sub(r"\\040", " ", row[1]), row[2]) for row in rows]


def _is_allowed(host: str, allowed: list[str]) -> bool:
    return any(_matches(host, name.strip("[]")) for name in allowed)


def _matches(host: str, name: str) -> bool:
    """As Django reads ALLOWED_HOSTS: a name with a leading point stands for itself and all below it."""
    return host == name or (name.startswith(".") and f".{host}".endswith(name))
