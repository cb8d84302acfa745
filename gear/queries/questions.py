"""What is asked: the day or moment, and what was known by when. Here, and nowhere below, the clock is read."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.utils import timezone
from django.utils.translation import gettext as _

from gear.ledger import rules_on, site_zone
from gear.queries import restored
from gear.rules import moments
from gear.rules.readiness import Reason, Rules

CLOCK_TOLERANCE = timedelta(minutes=5)
EARLIEST, LATEST = date(1900, 1, 1), date(2199, 12, 31)
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_MOMENT = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})[Tt ]([0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]{1,6})?)?)"
    r"([Zz]|[+-][0-9]{2}:[0-9]{2})?"
)


class BadQuestion(ValueError):
    """A day or moment that cannot be read. `field` is "as_of" or "known_at"; the message says what to write."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


@dataclass(frozen=True)
class Question:
    """What is asked: the day, the moment up to which events count, and what was known by when.

    Made by `question`; `known_at` is None for "everything recorded so far".
    """

    as_of: date
    as_of_at: datetime
    known_at: datetime | None
    asked_at: datetime

    @property
    def whole_day(self) -> bool:
        """Whether a day is asked about rather than a moment."""
        return self.as_of_at == moments.end_of_day(self.as_of, site_zone())

    @property
    def current(self) -> bool:
        """Whether every entry on record counts."""
        return self.known_at is None and self.as_of_at >= moments.end_of_day(
            moments.local_day(self.asked_at, site_zone()), site_zone()
        )


def question(as_of: date | datetime | None = None, *, known_at: datetime | None = None) -> Question:
    """The question for a day (its end counts), an aware moment, or now when `as_of` is None."""
    now, zone = timezone.now(), site_zone()
    if isinstance(as_of, datetime):
        return Question(moments.local_day(as_of, zone), as_of, known_at, now)
    day = as_of or moments.local_day(now, zone)
    return Question(day, moments.end_of_day(day, zone), known_at, now)


def question_in(as_of: str = "", *, known_at: str = "") -> Question:
    """The question as typed: a day (2026-10-02) or a moment with its offset (2026-10-02T05:45-04:00); empty is now.

    Raises BadQuestion for anything else: a moment without an offset could mean two different things.
    """
    as_of, known_at = as_of.strip(), known_at.strip()
    asked: date | datetime | None = None
    if as_of:
        asked = _day("as_of", as_of) if _DAY.fullmatch(as_of) else moment_in("as_of", as_of)
    return question(asked, known_at=moment_in("known_at", known_at) if known_at else None)


def rules_today() -> Rules:
    """The rule pack and site policy in force today."""
    return rules_on(question().as_of)


def service_trouble(asked: Question) -> list[Reason]:
    """What is wrong with this installation, whatever is asked about: every answer takes it into account.

    A server clock that lies behind what is already recorded cannot date anything. A record that was put back from a
    backup, or that lacks a seal known outside it, may lack a failed test or a hold, until somebody answers for it.
    """
    look = restored.look()
    if look is None:
        return []
    found = []
    # A moment that cannot be read is the broken record of one subject, and is told of that one.
    if look.newest_at and asked.asked_at < look.newest_at - CLOCK_TOLERANCE:
        stated = {"newest": look.newest_at.isoformat(timespec="seconds")}
        found.append(Reason("CLOCK_BEHIND", "internal control", stated))
    if look.unanswered:
        found.append(Reason("RESTORED", "internal control"))
    return found


def _day(field: str, text: str) -> date:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise BadQuestion(field, _("%s is no day of the calendar.") % text) from None
    if not EARLIEST <= day <= LATEST:
        raise BadQuestion(field, _("%s is out of range: give a day from 1900 to 2199.") % text)
    return day


def moment_in(field: str, text: str) -> datetime:
    """An aware moment as RFC 3339 writes it, its offset included. Raises BadQuestion."""
    read = _MOMENT.fullmatch(text)
    if read is None:
        raise BadQuestion(field, _unreadable(field, text[:60]))
    if read[3] is None:
        raise BadQuestion(
            field, _("%s has no offset from UTC. Write it as in 2026-10-02T05:45:00-04:00.") % text
        )
    _day(field, read[1])
    try:
        return datetime.fromisoformat(f"{read[1]}T{read[2]}{read[3].upper()}")
    except ValueError:
        raise BadQuestion(field, _("%s is no moment of the clock.") % text) from None


def _unreadable(field: str, text: str) -> str:
    if field == "known_at":
        return _("%s is no moment. Write it as in 2026-10-02T05:45:00-04:00.") % text
    return _("%s is neither a day nor a moment. Write 2026-10-02 or 2026-10-02T05:45:00-04:00.") % text
