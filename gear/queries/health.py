"""What must run by itself and may fail in silence: each room registers how to tell, and one page reads them all."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from threading import Lock

from django.conf import settings
from django.utils.translation import gettext as _

log = logging.getLogger(__name__)

RED, AMBER, WELL = "red", "amber", "well"
LEVELS = (RED, AMBER, WELL)
UNREACHABLE, UNMIGRATED = "DATABASE_UNREACHABLE", "MIGRATIONS_MISSING"
NOTHING_ELSE = frozenset({UNREACHABLE, UNMIGRATED})  # after these no other check has anything to ask
FRESH_S = 40  # seconds that one look serves every page: with the time it takes, red shows within a minute


@dataclass(frozen=True)
class Finding:
    """One thing looked at: `code` for programs, `title` in a few words, `sentence` with what to do about it.

    `level` is RED (somebody must act today), AMBER (worth knowing) or WELL. Nothing in it is secret. `page` is the
    name of the route where more stands or where it is mended. What `bars` makes /readyz answer 503: until it is
    mended the service cannot keep what it acknowledges, or cannot answer `good` for anything.
    """

    code: str
    level: str
    title: str
    sentence: str
    at: datetime | None = None
    page: str = ""
    bars: bool = False


def late_level() -> str:
    """A demo has no timers: what did not run there is worth knowing and no more."""
    return AMBER if settings.DEMO else RED


Check = Callable[[datetime], Iterable[Finding]]
CHECKS: list[Check] = []
_looking = Lock()
_kept: tuple[float, list[Finding]] | None = None


def register(check: Check, *, first: bool = False) -> None:
    """Have a check asked from now on; called from the `ready` of an app, and harmless when repeated.

    `first` is for what decides whether the others can be asked at all, whichever app was ready before.
    """
    if check not in CHECKS:
        CHECKS.insert(0 if first else len(CHECKS), check)


def findings(now: datetime) -> list[Finding]:
    """What every check finds at this moment, in the order of registration. A check that breaks is RED itself."""
    found: list[Finding] = []
    for check in CHECKS:
        try:
            found.extend(check(now))
        except Exception:
            log.exception("A check of this installation broke: %s", check.__name__)
            sentence = _("The check %s could not be made. Read the log of the server.") % check.__name__
            found.append(Finding("CHECK_BROKEN", RED, _("A check broke"), sentence))
        if any(one.code in NOTHING_ELSE for one in found):
            break
    return found


def recent(now: datetime, *, within: float = FRESH_S) -> list[Finding]:
    """`findings` of the last `within` seconds, kept in this process: for what every page asks, or anybody may ask.

    The age is taken from the monotonic clock: the one on the wall is among the things that may be wrong.
    """
    global _kept
    with _looking:  # many who ask at once cost one look
        if _kept is None or time.monotonic() - _kept[0] >= within:
            _kept = (time.monotonic(), findings(now))
        return _kept[1]


def forget() -> None:
    """Have the next `recent` look anew."""
    global _kept
    _kept = None


def worst_first(found: Iterable[Finding]) -> list[Finding]:
    return sorted(found, key=lambda one: LEVELS.index(one.level))
