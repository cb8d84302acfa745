"""What must run by itself and may fail in silence: each room registers how to tell, and one page reads them all."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _

log = logging.getLogger(__name__)

RED, AMBER, WELL = "red", "amber", "well"


@dataclass(frozen=True)
class Finding:
    """One thing looked at: `code` for programs, `title` in a few words, `sentence` with what to do about it.

    `level` is RED (somebody must act today), AMBER (worth knowing) or WELL. Nothing in it is secret.
    """

    code: str
    level: str
    title: str
    sentence: str
    at: datetime | None = None


Check = Callable[[datetime], Iterable[Finding]]
CHECKS: list[Check] = []


def register(check: Check) -> None:
    """Have a check asked from now on; called from the `ready` of an app, and harmless when repeated."""
    if check not in CHECKS:
        CHECKS.append(check)


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
    return found
