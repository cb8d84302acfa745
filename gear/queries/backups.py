"""Which backups were made and verified: noted outside the database, so that a restore forgets none."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.utils.translation import gettext as _

from gear.models import Entry
from gear.queries.health import AMBER, WELL, Finding, late_level

log = logging.getLogger(__name__)
MADE, VERIFIED = "made", "verified"
LOG = "backups.jsonl"  # in DATA_DIR: one line for each backup made or verified, only ever added to
# One a day, with two hours for a slow night. Common practice, no source.
OLDEST = timedelta(hours=26)


@dataclass(frozen=True)
class Backup:
    """One backup as its command noted it. `made_at` is the age of its data, `seal` its newest seal or empty."""

    file: str
    made_at: datetime
    sha256: str
    bytes: int
    entries: int
    seal: str


def log_file() -> Path:
    """The list of backups made and verified on this machine."""
    return Path(settings.DATA_DIR) / LOG


def newest_backup() -> Backup | None:
    """The newest backup that was made here, verified or not; None where none is known."""
    return _newest(MADE)


def newest_verified() -> Backup | None:
    """The newest backup that was restored to a scratch place and found whole; None where none is known."""
    return _newest(VERIFIED)


def check(now: datetime) -> Iterable[Finding]:
    """For the page on health: RED where the newest verified backup is older than a day and two hours."""
    title, found = _("Backup"), newest_verified()
    if found is None:
        oldest = Entry.objects.order_by("recorded_at").values_list("recorded_at", flat=True).first()
        late = oldest is not None and now - oldest > OLDEST
        told = _("No backup was verified on this machine yet. Run manage.py backup FILE --verify.")
        yield Finding("BACKUP_NONE", late_level() if late else AMBER, title, told)
        return
    age = now - found.made_at
    told = {"file": found.file, "hours": int(age.total_seconds() // 3600)}
    if age > OLDEST:
        sentence = _(
            "The newest verified backup (%(file)s) is %(hours)s hours old. Run manage.py backup FILE --verify, and "
            "find out why the nightly one did not."
        )
        yield Finding("BACKUP_OLD", late_level(), title, sentence % told, found.made_at)
    else:
        sentence = _("The newest verified backup (%(file)s) is %(hours)s hours old.")
        yield Finding("BACKUP_VERIFIED", WELL, title, sentence % told, found.made_at)


def _newest(what: str) -> Backup | None:
    return max((one for one in _noted(what)), key=lambda one: one.made_at, default=None)


def _noted(what: str) -> Iterable[Backup]:
    try:
        lines = log_file().read_text(encoding="utf-8").splitlines()
    except FileNotFoundError:
        return
    for line in lines:
        try:
            told = json.loads(line)
            if told.pop("what") == what:
                yield Backup(**{**told, "made_at": datetime.fromisoformat(told["made_at"])})
        except (ValueError, KeyError, TypeError):
            log.warning("A line of %s cannot be read and is passed over.", log_file())
