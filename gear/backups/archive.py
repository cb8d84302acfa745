"""The file that a backup is: a ZIP archive that carries a hash of every member and, at its very end, one of itself.

The last 64 bytes, which are the archive's comment, are the SHA-256 of all bytes before them: a flipped byte anywhere,
headers of the archive included, and a tail cut off are both found. That shows accidents. What somebody changed on
purpose, hashes included, is found by the record's own chains and by a seal held outside.
"""

from __future__ import annotations

import hashlib
import json
import os
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import IO, Any

from django.utils.translation import gettext as _

FORMAT = 1
MANIFEST = "manifest.json"
_DIGEST = 64  # symbols of a SHA-256
_CHUNK = 1 << 20
_PACKED = (".jpg", ".jpeg", ".png", ".pdf", ".zip", ".dump")  # made small already
_AT = (1980, 1, 1, 0, 0, 0)  # a member's date says nothing; the manifest does


class BackupRefused(Exception):
    """A backup that cannot be made or used. The message says why and what to do."""


def write(target: Path, members: Iterable[tuple[str, Path]], manifest: dict[str, Any]) -> str:
    """Write the archive under a name that must be free, readable by its owner alone; the SHA-256 in its last bytes.

    It appears whole or not at all: written beside, forced to disk, then given its name. Raises BackupRefused where
    the name is taken.
    """
    draft = target.with_name(f".{target.name}.{os.getpid()}.part")
    descriptor = os.open(draft, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(descriptor, "w+b") as file:
            _fill(file, members, manifest)
            digest = _sealed(file)
        try:
            os.link(draft, target)  # unlike a renaming, this never takes the place of what is there
        except FileExistsError:
            raise BackupRefused(_("%s is there already. Give another name.") % target) from None
        sync_folder(target.parent)
    finally:
        draft.unlink()
    return digest


def _fill(file: IO[bytes], members: Iterable[tuple[str, Path]], manifest: dict[str, Any]) -> None:
    stated: dict[str, dict[str, Any]] = {}
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for name, source in members:
            entry = zipfile.ZipInfo(name, _AT)
            packed = source.suffix in _PACKED
            entry.compress_type = zipfile.ZIP_STORED if packed else zipfile.ZIP_DEFLATED
            hashed = hashlib.sha256()
            with source.open("rb") as content, archive.open(entry, "w", force_zip64=True) as place:
                while part := content.read(_CHUNK):
                    hashed.update(part)
                    place.write(part)
            stated[name] = {"sha256": hashed.hexdigest(), "bytes": entry.file_size}
        text = json.dumps({**manifest, "format": FORMAT, "members": stated}, indent=1, sort_keys=True)
        archive.writestr(zipfile.ZipInfo(MANIFEST, _AT), text)
        archive.comment = b"0" * _DIGEST


def _sealed(file: IO[bytes]) -> str:
    digest = _hash_until(file, file.seek(0, os.SEEK_END) - _DIGEST)
    file.seek(-_DIGEST, os.SEEK_END)
    file.write(digest.encode())
    file.flush()
    os.fsync(file.fileno())
    return digest


def _hash_until(file: IO[bytes], end: int) -> str:
    file.seek(0)
    hashed = hashlib.sha256()
    while part := file.read(min(_CHUNK, end - file.tell())):
        hashed.update(part)
    return hashed.hexdigest()


def sync_folder(folder: Path) -> None:
    """Force the names in a folder to disk."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


class Archive:
    """A backup whose every byte is as it was written; `manifest` is what it states of itself."""

    def __init__(self, archive: zipfile.ZipFile, manifest: dict[str, Any], digest: str) -> None:
        self._archive, self.manifest, self.digest = archive, manifest, digest

    @property
    def members(self) -> dict[str, dict[str, Any]]:
        """name: {"sha256", "bytes"} of everything in it but the manifest."""
        return self.manifest["members"]

    def extract(self, name: str, to: Path) -> None:
        """Write one member to a file. Raises BackupRefused where it is not what the manifest states."""
        hashed = hashlib.sha256()
        with self._archive.open(name) as content, to.open("wb") as file:
            while part := content.read(_CHUNK):
                hashed.update(part)
                file.write(part)
        if hashed.hexdigest() != self.members[name]["sha256"]:
            raise BackupRefused(_("%s in this backup is not what was put in. Use another backup.") % name)

    def lines(self, name: str) -> Iterator[Any]:
        """The JSON values of a member with one on each line."""
        with self._archive.open(name) as content:
            for line in content:
                yield json.loads(line)


@contextmanager
def opened(path: Path) -> Iterator[Archive]:
    """A backup whose hash was checked. Raises BackupRefused where it is damaged, cut, or of a newer format."""
    with ExitStack() as open_files:
        yield _read(path, open_files)


def _read(path: Path, open_files: ExitStack) -> Archive:
    damaged = _("%s is damaged, cut off, or no backup of this service. Use another backup.") % path
    try:
        file = open_files.enter_context(path.open("rb"))
        digest = _checked(file, damaged)
        archive = open_files.enter_context(zipfile.ZipFile(file))
        manifest = json.loads(archive.read(MANIFEST))
        newer, names = manifest["format"] > FORMAT, {*manifest["members"], MANIFEST}
    except FileNotFoundError:
        raise BackupRefused(_("There is no file %s.") % path) from None
    except (zipfile.BadZipFile, KeyError, ValueError, TypeError, EOFError) as error:
        raise BackupRefused(damaged) from error
    if newer:
        raise BackupRefused(
            _("This backup was made by a newer version (%s). Install that version, then restore it.")
            % manifest.get("version")
        )
    if set(archive.namelist()) != names:
        raise BackupRefused(damaged)
    return Archive(archive, manifest, digest)


def _checked(file: IO[bytes], damaged: str) -> str:
    end = file.seek(0, os.SEEK_END) - _DIGEST
    if end <= 0:
        raise BackupRefused(damaged)
    digest = _hash_until(file, end)
    file.seek(end)
    if file.read() != digest.encode():
        raise BackupRefused(damaged)
    return digest
