"""What the machine must give: room on its disk, and a clock that is right."""

from __future__ import annotations

import ctypes
import shutil
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.db import connection
from django.utils.translation import gettext as _

from gear.models import Entry
from gear.queries.health import AMBER, RED, WELL, Finding
from gear.queries.questions import CLOCK_TOLERANCE

GIGABYTE = 1000**3
LEAST_FREE = GIGABYTE  # bytes; common practice, no source
LEAST_SHARE, LITTLE_SHARE = 0.10, 0.20  # of the disk; common practice, no source
TIME_ERROR = 5  # adjtimex(2): the kernel's clock is not synchronised
TIMEX_BYTES = 512  # more than struct timex takes on any machine


def check_disk(now: datetime) -> Iterator[Finding]:
    """Room where records and photos are kept; said for the fullest of the disks."""
    title = _("Disk")
    usages = [shutil.disk_usage(folder) for folder in sorted(folders())]
    total, _used, free = min(usages, key=lambda usage: usage.free / usage.total)
    told = {"free": f"{free / GIGABYTE:.1f}", "share": f"{100 * free / total:.0f}"}
    if free < LEAST_FREE or free < LEAST_SHARE * total:
        sentence = _(
            "%(free)s GB (%(share)s %%) are free on the disk of the record. Make room or move to a larger disk today: "
            "once it is full nothing can be recorded."
        )
        yield Finding("DISK_LOW", RED, title, sentence % told, bars=True)
    elif free < LITTLE_SHARE * total:
        sentence = _("%(free)s GB (%(share)s %%) are free. Plan for more room.")
        yield Finding("DISK_FILLING", AMBER, title, sentence % told)
    else:
        yield Finding("DISK", WELL, title, _("%(free)s GB (%(share)s %%) are free.") % told)


def folders() -> set[Path]:
    """Where this installation keeps things on its own disks."""
    found = {Path(settings.DATA_DIR)}
    if connection.vendor == "sqlite":
        found.add(Path(str(connection.settings_dict["NAME"])).parent)
    return {folder for folder in found if folder.is_dir()}


def check_clock(now: datetime) -> Iterator[Finding]:
    """Behind its own records the clock cannot date anything: every answer is unknown until it is right."""
    title = _("Clock")
    newest = Entry.objects.order_by("-recorded_at").values_list("recorded_at", flat=True).first()
    if newest and now < newest - CLOCK_TOLERANCE:
        sentence = _(
            "The clock of this server is behind what it has recorded, so every answer is unknown. Set it right and "
            "see that a time service keeps it so (timedatectl)."
        )
        yield Finding("CLOCK_BEHIND", RED, title, sentence, newest, bars=True)
    elif kernel_says_unsynchronised():
        sentence = _(
            "No time service keeps the clock of this server right. Set one up (timedatectl set-ntp true): a day that "
            "begins late lets an item pass for a day too long."
        )
        yield Finding("CLOCK_ALONE", AMBER, title, sentence)
    else:
        yield Finding(
            "CLOCK", WELL, title, _("Not behind its records. Zone of the site: %s.") % settings.TIME_ZONE
        )
    if settings.TIME_ZONE == "UTC":
        sentence = _(
            "Dates are read in UTC, the default: late in the day, today and tomorrow are mixed up. Set TIME_ZONE to "
            "your own zone, such as America/New_York."
        )
        yield Finding("ZONE_IS_UTC", AMBER, _("Time zone"), sentence)


def kernel_says_unsynchronised() -> bool:
    """Whether Linux itself says that nothing keeps its clock right. Where it cannot be asked, nothing is claimed."""
    try:
        ask = ctypes.CDLL(None).adjtimex
        return ask(ctypes.create_string_buffer(TIMEX_BYTES)) == TIME_ERROR
    except (OSError, AttributeError):
        return False
