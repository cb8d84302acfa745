"""The list of seals in the data folder, outside the database: it tells when an older copy of that was put back."""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path

from django.conf import settings

from gear.ledger.seals import Anchor
from gear.models import Seal

LIST = "seals.txt"  # in DATA_DIR: "NUMBER:HASH MOMENT" on each line, the newest last; only ever added to
_TAIL = 400  # bytes: more than one line takes


def list_file() -> Path:
    """The list of seals of this machine."""
    return Path(settings.DATA_DIR) / LIST


def newest() -> Anchor | None:
    """The seal that was noted last; None where none was, or where the last line cannot be read."""
    try:
        with list_file().open("rb") as file:
            file.seek(max(0, file.seek(0, os.SEEK_END) - _TAIL))
            lines = file.read().decode("ascii", "replace").split("\n")
    except FileNotFoundError:
        return None
    whole = [line for line in lines[:-1] if line]  # a line that was cut off by a crash has no end
    number, _colon, rest = whole[-1].partition(":") if whole else ("", "", "")
    return Anchor(int(number), rest[:64]) if number.isdecimal() else None


def note(seal: Seal) -> None:
    """Add a seal to the list, unless it stands last already."""
    if newest() == Anchor(seal.number, seal.hash):
        return
    with list_file().open("a", encoding="ascii") as file:
        file.write(f"{seal.number}:{seal.hash} {_utc(seal.sealed_at)}\n")
        file.flush()
        os.fsync(file.fileno())


def _utc(moment: datetime) -> str:
    return moment.isoformat(timespec="seconds")
