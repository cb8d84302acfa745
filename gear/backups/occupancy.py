"""Who uses an installation: every process holds a part in its data folder, and whoever replaces the record needs all.

A database file that is replaced under a process that has it open would take that process's records with it. The locks
are of the operating system (flock), so they end with their process, however it ends.
"""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

LOCK = "in_use.lock"
_held: dict[Path, int] = {}


class InUse(ImproperlyConfigured):
    """Others use the installation, or its record is being replaced just now. The message says what to do."""


def join(folder: Path) -> None:
    """Take part until this process ends. Raises InUse while the record is being replaced."""
    folder = folder.resolve()
    if folder in _held:
        return
    file = _opened(folder)
    try:
        fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(file)
        raise InUse(
            f"The record in {folder} is being restored, upgraded or moved just now. Start again when that is done."
        ) from None
    _held[folder] = file


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """No other process uses the installation while this lasts. Raises InUse at once where another does."""
    folder = folder.resolve()
    file = _held[folder] if folder in _held else _opened(folder)
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        _let_go(folder, file)
        raise InUse(
            f"The service, or another command, is using {folder}. Stop the service and its timers, then run this again."
        ) from None
    try:
        yield
    finally:
        _let_go(folder, file)


def _opened(folder: Path) -> int:
    try:
        return os.open(folder / LOCK, os.O_RDWR | os.O_CREAT, 0o600)
    except PermissionError:
        raise InUse(
            f"{folder / LOCK} belongs to another account: a command was run as root, say. Give everything in {folder} "
            "back to the account of the service (chown), and run every command as that."
        ) from None


def _let_go(folder: Path, file: int) -> None:
    """Back to the part this process had before."""
    if folder in _held:
        fcntl.flock(file, fcntl.LOCK_SH)
    else:
        os.close(file)
