"""The list of seals in the data folder, outside the database: it tells when an older copy of that was put back."""

from __future__ import annotations

import os
import re
from datetime import datetime
from pathlib import Path

from django.conf import settings

from gear.ledger.seals import Anchor
from gear.models import Seal

LIST = "seals.txt"  # in DATA_DIR: "NUMBER:HASH MOMENT" on each line, the newest last; only ever added to
_TAIL = 400  # bytes: more than one line takes
_LINE = re.compile(r"([0-9]{1,9}):([0-9a-f]{64}) \S+")


def list_file() -> Path:
    """The list of seals of this machine."""
    return Path(settings.DATA_DIR) / LIST


def newest() -> Anchor | None:
    """The seal that was noted last; None where none was. A line that a crash or a full disk cut off is passed over."""
    try:
        with list_file().open("rb") as file:
            file.seek(max(0, file.seek(0, os.SEEK_END) - _TAIL))
            lines = file.read().decode("ascii", "replace").split("\n")
    except FileNotFoundError:
        return None
    whole = [found for line in lines[:-1] if (found := _LINE.fullmatch(line))]
    return Anchor(int(whole[-1][1]), whole[-1][2]) if whole else None


def note(seal: Seal) -> None:
    """Add a seal to the list, unless it stands last already."""
    if newest() == Anchor(seal.number, seal.hash):
        return
    with list_file().open("a", encoding="ascii") as file:
        start = "\n" if _cut_off() else ""
        file.write(f"{start}{seal.number}:{seal.hash} {_utc(seal.sealed_at)}\n")
        file.flush()
        os.fsync(file.fileno())


def _cut_off() -> bool:
    """Whether the last line has no end: what is added must not become a part of it."""
    with list_file().open("rb") as file:
        if not file.seek(0, os.SEEK_END):
            return False
        file.seek(-1, os.SEEK_END)
        return file.read() != b"\n"


def _utc(moment: datetime) -> str:
    return moment.isoformat(timespec="seconds")
