"""A zip that is written file by file, each hashed as it goes: nothing is held in memory but what is being written."""

from __future__ import annotations

import hashlib
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import IO, Any

from reports.rules import verify_export

BLOCK = 1 << 18  # bytes
STORED = (".jpg", ".png", ".pdf", ".webp", ".xlsx")  # packed already


class Archive:
    """`files` is what was written so far: {name: {"sha256", "size"}}."""

    def __init__(self, target: IO[bytes], made_at: datetime) -> None:
        self._zip = zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED, allowZip64=True, compresslevel=6)
        self._stamp = made_at.timetuple()[:6]
        self.files: dict[str, dict[str, Any]] = {}

    def add(self, name: str, blocks: Iterable[bytes]) -> str:
        """Write one file; its SHA-256."""
        info = zipfile.ZipInfo(name, date_time=self._stamp)
        info.compress_type = zipfile.ZIP_STORED if name.endswith(STORED) else zipfile.ZIP_DEFLATED
        info.external_attr = 0o600 << 16
        digest, size = hashlib.sha256(), 0
        with self._zip.open(info, "w", force_zip64=True) as file:
            for block in blocks:
                file.write(block)
                digest.update(block)
                size += len(block)
        self.files[name] = {"sha256": digest.hexdigest(), "size": size}
        return digest.hexdigest()

    def text(self, name: str, lines: Iterable[str]) -> str:
        return self.add(name, _blocks(line.encode() for line in lines))

    def rows(self, name: str, rows: Iterable[Mapping[str, Any]]) -> int:
        """Write one JSON object a line, the same whatever order a database keeps names in; how many."""
        count = 0

        def lines() -> Iterator[bytes]:
            nonlocal count
            for row in rows:
                count += 1
                yield verify_export.canonical(row) + b"\n"

        self.add(name, _blocks(lines()))
        return count

    def close(self) -> None:
        self._zip.close()


def _blocks(parts: Iterable[bytes]) -> Iterator[bytes]:
    """The parts in blocks: deflating and hashing line by line takes twice the time."""
    waiting, size = [], 0
    for part in parts:
        waiting.append(part)
        size += len(part)
        if size >= BLOCK:
            yield b"".join(waiting)
            waiting, size = [], 0
    if waiting:
        yield b"".join(waiting)
