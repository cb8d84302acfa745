"""Reading a backup back: to a scratch place, where everything is checked, and from there into the installation."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.base import File
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import DatabaseError, connection, connections
from django.utils import timezone
from django.utils.translation import gettext as _

from gear.backups import archive, making, occupancy, scratch, stated
from gear.backups.archive import Archive, BackupRefused
from gear.backups.making import ANSWERS, MEDIA, RECORD
from gear.ledger import Draft, record
from gear.ledger.seals import SHORTEST_ANCHOR, Anchor
from gear.ledger.verify import verify
from gear.models import Entry, Photo, User
from gear.queries.backups import VERIFIED, Backup
from gear.queries.restored import open_seal

NAMED_AT_MOST = 50  # changed answers, missing photos: more say no more


@dataclass
class Examined:
    """A backup that was read back and is whole: what it states, and what a person should know of it."""

    manifest: dict[str, Any]
    digest: str
    migrated: bool = False
    changed: list[str] = field(default_factory=list)

    @property
    def made_at(self) -> datetime:
        return datetime.fromisoformat(self.manifest["made_at"])


@dataclass
class Restored:
    """What a restore did: `kept` is where the record that stood there before is now, if there was any."""

    examined: Examined
    kept: str = ""


def verified(path: Path) -> Examined:
    """Restore a backup to a scratch place, prove it there, and note that it was. Raises BackupRefused."""
    with read_back(path) as (examined, _database, _archive):
        stated_ = examined.manifest
    note = Backup(
        file=str(path),
        made_at=examined.made_at,
        sha256=examined.digest,
        bytes=path.stat().st_size,
        entries=stated_["entries"],
        seal=stated_["seal"],
    )
    making.note(VERIFIED, note)
    return examined


def restore(path: Path, *, replace: bool, seal: Anchor | None = None) -> Restored:
    """Put a backup in the place of the record, which is kept beside it under a dated name.

    Until the very last step, which is one renaming, the record that stands there is not touched; whatever fails
    before leaves it as it was. Every answer is `unknown` from then on, unless `seal`, held outside, is the newest
    seal of the backup. Raises BackupRefused, or occupancy.InUse while the service runs.
    """
    with occupancy.alone(Path(settings.DATA_DIR)):
        if not replace and not is_empty():
            raise BackupRefused(
                _(
                    "There is a record here already. With --replace it is put aside under a dated name, never deleted."
                )
            )
        with read_back(path) as (examined, database, archived):
            check_seal(examined.manifest["seal"], seal)
            with scratch.looking_at(database):
                _say_so(examined, seal)
            put_media(archived)
            return Restored(examined, put_in_place(database, word="restore"))


def is_empty() -> bool:
    """Whether nothing was recorded in this installation yet."""
    try:
        if Entry._meta.db_table not in connection.introspection.table_names():
            return True
    except DatabaseError:
        return False  # a database that cannot be read is not one to be taken for empty
    return not Entry.objects.exists() and not User.objects.exists()


def check_seal(newest: str, held: Anchor | None) -> None:
    """Raise BackupRefused where a seal held outside is given and is not the newest of the backup."""
    if held is None:
        return
    number, _colon, hashed = newest.partition(":")
    if (
        number != str(held.number)
        or len(held.hash) < SHORTEST_ANCHOR
        or not hashed.startswith(held.hash.lower())
    ):
        raise BackupRefused(
            _(
                "The newest seal of this backup is %(here)s, and not the one given. Nothing was restored. Look for a "
                "newer backup; where there is none, restore without --seal and have an administrator sign for the gap."
            )
            % {"here": newest or _("none")}
        )


@contextmanager
def read_back(path: Path) -> Iterator[tuple[Examined, scratch.Settings, Archive]]:
    """The backup in a scratch database, proven, and the migrations of this version applied to it."""
    place = _scratch_folder()
    with archive.opened(path) as archived:
        manifest = archived.manifest
        stated.check_version(manifest)
        if manifest["database"] != connection.vendor:
            told = {"was": manifest["database"], "is": connection.vendor}
            raise BackupRefused(
                _(
                    "This backup is of a %(was)s database and this installation has %(is)s. Restore it beside a "
                    "%(was)s database, then run manage.py move_database."
                )
                % told
            )
        making.check_room(place, sum(member["bytes"] for member in archived.members.values()) * 2)
        with scratch.folder_beside(place) as work, _loaded(archived, work) as database:
            examined = Examined(manifest, archived.digest)
            with scratch.looking_at(database):
                _prove(examined, archived)
            yield examined, database, archived


@contextmanager
def _loaded(archived: Archive, work: Path) -> Iterator[scratch.Settings]:
    name = RECORD[connection.vendor]
    archived.extract(name, work / name)
    (work / name).chmod(0o600)
    current = scratch.current()
    if scratch.is_sqlite(current):
        scratch.check_sqlite(work / name)
        yield {**current, "NAME": str(work / name)}
        return
    with scratch.filled_postgresql(current, work / name) as database:
        yield database


def _prove(examined: Examined, archived: Archive) -> None:
    """Compare the scratch copy with what the manifest states, with itself, and with the answers of its own day."""
    manifest = examined.manifest
    found = stated.stated()
    for name in ("rows", "entries", "head", "seal", "newest_at", "migrations"):
        if found[name] != manifest[name]:
            raise BackupRefused(differs(name, manifest[name], found[name]))
    migrate_scratch(examined, found["migrations"])
    if problems := verify():
        first = problems[0].sentence
        raise BackupRefused(
            _("The record in this backup is not what was recorded (%(count)s problems). %(first)s")
            % {"count": len(problems), "first": first}
        )
    for photo in Photo.objects.exclude(path__in=manifest["missing"]).values("path", "sha256").iterator(2000):
        if archived.members.get(MEDIA + photo["path"], {}).get("sha256") != photo["sha256"]:
            raise BackupRefused(
                _("The photo %s in this backup is not the one that was stored. Use another backup.")
                % photo["path"]
            )
    if ANSWERS in archived.members:
        examined.changed = stated.changed(archived.lines(ANSWERS), stated.answers(examined.made_at))


def migrate_scratch(examined: Examined, migrations: list[list[str]]) -> None:
    """Apply what this version added, to the scratch copy alone."""
    if stated.open_to_us([(app, name) for app, name in migrations]):
        call_command("migrate", verbosity=0, interactive=False)
        examined.migrated = True


def differs(name: str, was: Any, found: Any) -> str:
    """What two copies do not have in common, in words."""
    if name == "rows":
        tables = sorted(table for table in {*was, *found} if was.get(table) != found.get(table))
        name, was, found = tables[0], was.get(tables[0]), found.get(tables[0])
    told = {"name": name, "was": was, "found": found}
    return _("The copy differs in %(name)s: %(was)s were stated and %(found)s found. Do not use it.") % told


def _say_so(examined: Examined, seal: Anchor | None) -> None:
    """Put on record that this is a restored record, so that nobody takes it for the one that went on."""
    manifest, earlier = examined.manifest, open_seal()
    facts = {name: str(manifest.get(name) or "") for name in ("made_at", "seal", "head", "version")}
    if earlier is not None:
        facts["seal"] = earlier
        if seal is not None and earlier != manifest["seal"]:
            raise BackupRefused(
                _(
                    "This backup holds a restore that nobody answered for, and its newest seal was made after that. "
                    "Nothing was restored. Restore it without --seal, then compare the seal that is asked for."
                )
            )
    record(Draft(None, "restored", facts), by=None, via="system")
    if seal is not None:
        accepted = {"how": "seal", "seal": manifest["seal"]}
        record(Draft(None, "restore_accepted", accepted), by=None, via="system")


def put_media(archived: Archive) -> None:
    """Bring back stored files that are not there. One that is there and differs is kept under a dated name."""
    for name, member in archived.members.items():
        if not name.startswith(MEDIA):
            continue
        path = name.removeprefix(MEDIA)
        if default_storage.exists(path):
            with default_storage.open(path) as there:
                held = there.read()
            if hashlib.sha256(held).hexdigest() == member["sha256"]:
                continue
            with default_storage.open(path) as there:
                default_storage.save(f"{path}.before-restore-{_stamp()}", File(there))
            default_storage.delete(path)
        with scratch.folder_beside(_scratch_folder()) as work:
            archived.extract(name, work / "file")
            with (work / "file").open("rb") as content:
                default_storage.save(path, File(content))


def put_in_place(database: scratch.Settings, *, word: str) -> str:
    """Give a proven scratch database the name of the installation's; where the one before it is kept, or empty."""
    current = scratch.current()
    connections["default"].close()
    if scratch.is_sqlite(current):
        return _renamed_file(Path(str(database["NAME"])), Path(str(current["NAME"])), word)
    return _renamed_database(str(database["NAME"]), str(current["NAME"]), word)


def _renamed_file(made: Path, place: Path, word: str) -> str:
    """The old file gets a second name, then the new one takes its place: at no moment is there none."""
    kept = place.with_name(f"{place.stem}.before-{word}-{_stamp()}{place.suffix}")
    had = place.exists()
    if had:
        _check_at_rest(place)
        os.link(place, kept)
    with made.open("rb") as file:
        os.fsync(file.fileno())
    try:
        os.replace(made, place)
    except OSError:
        kept.unlink(missing_ok=True)  # a second name of what stands there still
        raise
    archive.sync_folder(place.parent)
    return str(kept) if had else ""


def _check_at_rest(place: Path) -> None:
    """Raise BackupRefused while anything has the file open for writing, or has left a journal beside it."""
    import sqlite3

    database = sqlite3.connect(place, timeout=1, isolation_level=None)
    try:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        database.execute("BEGIN EXCLUSIVE")
        database.execute("ROLLBACK")
    except sqlite3.OperationalError as error:
        raise BackupRefused(_("Something is using %s. Stop it, then run this again.") % place) from error
    except sqlite3.DatabaseError:
        return  # no database any more: that may be why it is replaced
    finally:
        database.close()
    for ending in ("-journal", "-wal"):
        if (beside := place.with_name(place.name + ending)).exists() and beside.stat().st_size:
            raise BackupRefused(_("Something is using %s. Stop it, then run this again.") % place)


def _renamed_database(made: str, name: str, word: str) -> str:
    kept = f"{name[:30]}_before_{word}_{_stamp().lower()}"
    with scratch.asking_server(scratch.current()) as cursor:
        _rename(cursor, name, kept)
        try:
            _rename(cursor, made, name)
        except BackupRefused:
            _rename(cursor, kept, name)
            raise
    return kept


def _rename(cursor: Any, name: str, to: str) -> None:
    try:
        cursor.execute(f'ALTER DATABASE "{name}" RENAME TO "{to}"')
    except DatabaseError as error:
        raise BackupRefused(
            _(
                "The database cannot be put in place (%s). Stop the service on every server, then run this again."
            )
            % str(error).strip().partition("\n")[0]
        ) from error


def _scratch_folder() -> Path:
    """Where drafts lie: beside the database where that is a file, so that a renaming is enough."""
    current = scratch.current()
    return Path(str(current["NAME"])).parent if scratch.is_sqlite(current) else Path(settings.DATA_DIR)


def _stamp() -> str:
    return f"{timezone.now():%Y%m%dT%H%M%S%f}"


Telling = Callable[[str], None]


def tell(examined: Examined, say: Telling) -> None:
    """What a person should read of a backup that was proven: its age, its figures, what changed."""
    manifest = examined.manifest
    hours = (timezone.now() - examined.made_at).total_seconds() / 3600
    told = {"made_at": manifest["made_at"], "hours": f"{hours:.1f}", "version": manifest["version"]}
    say(_("Made at %(made_at)s (%(hours)s hours ago) by version %(version)s.") % told)
    say(_("Newest entry: %s") % (manifest["newest_at"] or _("none")))
    rows = sum(manifest["rows"].values())
    say(
        _("%(entries)s entries, %(rows)s rows in all, as stated.")
        % {"entries": manifest["entries"], "rows": rows}
    )
    say(_("Head of all chains: %s, the same in the copy.") % manifest["head"])
    say(_("Newest seal: %s") % (manifest["seal"] or _("none")))
    if examined.migrated:
        say(_("It was made by an older version and was migrated."))
    for path in manifest["missing"][:NAMED_AT_MOST]:
        say(_("The photo %s was gone already when it was made.") % path)
    tell_changed(examined.changed, say)


def tell_changed(changed: list[str], say: Telling) -> None:
    """Which answers are others than before, each by its number."""
    if not changed:
        say(_("Every answer is the same as before."))
        return
    say(_("%s answers are others than before:") % len(changed))
    for line in changed[:NAMED_AT_MOST]:
        say(f"  {line}")
