"""Making a backup: one file with the whole record, taken while people write."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from datetime import datetime
from itertools import chain
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.storage import default_storage
from django.db import connection, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from gear.backups import archive, scratch, stated
from gear.backups.archive import BackupRefused
from gear.models import Photo
from gear.queries import backups
from gear.queries.backups import MADE, Backup

RECORD = {"sqlite": "record.sqlite3", "postgresql": "record.dump"}  # the member that holds the database
ANSWERS = "answers.jsonl"
MEDIA, PACKS = "media/", "packs/"
_SPARE = 64 << 20  # bytes of a disk that are left alone
WITHOUT = (
    "SECRET_KEY, sign-ins under way and counts of sign-in tries. Keep DATA_DIR/secret_key or the SECRET_KEY of the "
    "environment apart from backups: without it phones must fetch their data anew."
)


def make(target: Path, *, with_answers: bool = True) -> tuple[Backup, list[str]]:
    """Make a backup under a name that must be free; with it, the photos whose files are gone.

    Raises BackupRefused, and then there is no file.

    Everything in it is of one moment, but for photos: their files are stored before their rows, so every photo that
    a row names is there. Answers are left out where the tables are of another version than this program, which
    could not give those of that version.
    """
    if target.exists():
        raise BackupRefused(_("%s is there already. Give another name.") % target)
    if not target.parent.is_dir():
        raise BackupRefused(_("There is no folder %s. Make it first.") % target.parent)
    media = list(media_files())
    check_room(target.parent, scratch.size_of(scratch.current()) * 2 + sum(size for _name, size in media))
    with scratch.folder_beside(target.parent) as work, _snapshot(work) as record:
        at = timezone.now()
        figures = stated.stated()
        at = max(at, datetime.fromisoformat(figures["newest_at"] or at.isoformat()))
        photos = list(Photo.objects.order_by("pk").values_list("path", flat=True))
        members = [(record.name, record)]
        if with_answers:
            _write_lines(work / ANSWERS, stated.answers(at))
            members.append((ANSWERS, work / ANSWERS))
        members += [(PACKS + file.name, file) for file in stated.pack_files()]
        missing: list[str] = []
        stored = _media_members(work, [name for name, _size in media], photos, missing)
        manifest = {**figures, "made_at": at.isoformat(), "without": WITHOUT, "missing": missing}
        digest = archive.write(target, chain(members, stored), manifest)
    made = Backup(
        file=str(target),
        made_at=at,
        sha256=digest,
        bytes=target.stat().st_size,
        entries=figures["entries"],
        seal=figures["seal"],
    )
    note(MADE, made)
    return made, missing


def note(what: str, made: Backup) -> None:
    """Add to the list of backups made and verified."""
    line = {"what": what, **asdict(made), "made_at": made.made_at.isoformat()}
    with backups.log_file().open("a", encoding="utf-8") as log:
        log.write(json.dumps(line) + "\n")


def media_files(folder: str = "") -> Iterator[tuple[str, int]]:
    """(name, bytes) of every file that the service stores beside the database."""
    try:
        folders, names = default_storage.listdir(folder)
    except FileNotFoundError:
        return
    for name in sorted(names):
        path = f"{folder}{name}"
        try:
            yield path, default_storage.size(path)
        except FileNotFoundError:
            continue  # a draft that was given its name meanwhile
    for name in sorted(folders):
        yield from media_files(f"{folder}{name}/")


def check_room(folder: Path, needed: int) -> None:
    """Raise BackupRefused where the disk of the folder has no room for so many bytes."""
    free = scratch.free_bytes(folder)
    if free < needed + _SPARE:
        told = {"folder": folder, "needed": (needed + _SPARE) >> 20, "free": free >> 20}
        raise BackupRefused(
            _("The disk of %(folder)s has %(free)s MB free and %(needed)s MB are needed. Make room first.")
            % told
        )


@contextmanager
def _snapshot(work: Path) -> Iterator[Path]:
    """The dump of one moment, while everything that is read shows that moment."""
    database = scratch.current()
    record = work / RECORD[connection.vendor]
    if scratch.is_sqlite(database):
        scratch.dump_sqlite(str(database["NAME"]), record)
        with scratch.looking_at({"NAME": str(record)}):
            yield record
        return
    with scratch.looking_at({}) as reading, transaction.atomic():
        with reading.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            cursor.execute("SELECT pg_export_snapshot()")
            snapshot = cursor.fetchone()[0]
        scratch.dump_postgresql(database, record, snapshot=snapshot)
        yield record


def _media_members(
    work: Path, names: list[str], photos: list[str], missing: list[str]
) -> Iterator[tuple[str, Path]]:
    """Every stored file, copied out of the storage one by one, which may be on another machine.

    A photo whose file is gone goes on the list `missing`: the rest must be kept all the same.
    """
    known = sorted({*names, *photos})
    for number, name in enumerate(known):
        copy = work / f"{number}{Path(name).suffix}"
        try:
            with default_storage.open(name) as stored, copy.open("wb") as file:
                for part in stored.chunks():
                    file.write(part)
        except FileNotFoundError:
            missing += [name] if name in photos else []
            continue
        yield MEDIA + name, copy
        copy.unlink()


def _write_lines(path: Path, lines: Iterator[dict[str, Any]]) -> None:
    with path.open("w", encoding="utf-8") as file:
        for line in lines:
            file.write(json.dumps(line) + "\n")


def remove_older(days: int) -> list[Path]:
    """Remove backups that were given no name of their own once they are so many days old; those removed.

    The newest verified one stays whatever its age.
    """
    newest = backups.newest_verified()
    oldest = timezone.now().timestamp() - days * 24 * 60 * 60
    removed = []
    for path in sorted(default_name().parent.glob("gear-*.backup")):
        if path.stat().st_mtime < oldest and (newest is None or str(path) != newest.file):
            path.unlink()
            removed.append(path)
    return removed


def default_name(folder: Path | None = None) -> Path:
    """A name by the moment for whoever gives none: gear-20261128T203001.backup in DATA_DIR/backups."""
    place = folder or Path(settings.DATA_DIR) / "backups"
    place.mkdir(mode=0o700, exist_ok=True)
    return place / f"gear-{timezone.now():%Y%m%dT%H%M%S}.backup"
