"""When notices were last looked for: a file beside the database, since a run that finds nothing leaves no row."""

from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.utils.translation import gettext as _

from gear.queries.health import AMBER, WELL, Finding, late_level

FILE = "notices.txt"  # in DATA_DIR: the moment at which the newest run ended
LATE_AFTER = timedelta(hours=1)  # four runs of every 15 minutes; common practice, no source


def _file() -> Path:
    return Path(settings.DATA_DIR) / FILE


def note_run(now: datetime) -> None:
    """Note that a run ended, whatever it found."""
    made = _file().with_suffix(f".{os.getpid()}")
    made.write_text(now.isoformat(), encoding="ascii")
    made.replace(_file())


def last_run() -> datetime | None:
    """When the newest run ended; None where none did, or the file cannot be read as a moment."""
    try:
        found = datetime.fromisoformat(_file().read_text(encoding="ascii"))
    except (OSError, ValueError):
        return None
    return found if found.tzinfo else None


def check_notices(now: datetime) -> Iterator[Finding]:
    """Whether anybody would hear of gear that is stopped in somebody's hands."""
    title, last = _("Notices"), last_run()
    if last is not None and now - last <= LATE_AFTER:
        yield Finding("NOTICES", WELL, title, _("They were looked for within the last hour."), last)
        return
    sentence = _(
        "Nobody has looked for notices since the moment shown, so nobody is told of gear that is stopped in somebody's "
        "hands. See why the timer does not run (systemctl list-timers), then run manage.py send_notices."
    )
    if last is None:
        sentence = _(
            "Notices were never looked for, so nobody is told by mail of gear that is stopped in somebody's hands. Set "
            "up their timer: manage.py unit_files writes it, README says how."
        )
    yield Finding(
        "NOTICES_LATE" if last else "NOTICES_NEVER", late_level() if last else AMBER, title, sentence, last
    )
