"""What an entry says, as hashed; how entries follow one another; when something happened."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils.translation import gettext as _

from gear.models import Entry, GearSet, Item
from gear.rules import entries, moments
from gear.rules.fold import Line
from gear.rules.hashing import entry_hash

SKEW = timedelta(seconds=120)
EARLIEST = date(1900, 1, 1)


class LedgerError(Exception):
    """An entry that cannot be recorded. The message is fit for the person who tried."""


class BadMoment(LedgerError):
    """An entry in the future, or before anything could have happened."""


def site_zone() -> ZoneInfo:
    """The zone whose calendar days count."""
    return ZoneInfo(settings.TIME_ZONE)


def subject_name(subject: Item | GearSet | None) -> str:
    """`item:G-01234`, `set:P-0007` or `site`: the same in every installation that holds the record."""
    if subject is None:
        return "site"
    return f"item:{subject.item_no}" if isinstance(subject, Item) else f"set:{subject.set_no}"


def line_of(entry: Entry) -> Line:
    """The entry as the rules see it."""
    return Line(
        entry.id,
        entry.kind,
        entry.occurred_at,
        entry.occurred_on,
        entry.recorded_at,
        str(entry.by_id or ""),
        entry.facts,
        entry.corrects_id,
        entry.precision,
    )


def payload(entry: Entry, *, subject: str, by: str) -> dict:
    """Every evidence field of an entry, as hashed. `by` is a username or empty."""
    return {
        "id": str(entry.id),
        "subject": subject,
        "position": entry.position,
        "kind": entry.kind,
        "occurred_at": utc_text(entry.occurred_at),
        "occurred_on": entry.occurred_on.isoformat(),
        "precision": entry.precision,
        "recorded_at": utc_text(entry.recorded_at),
        "by": by,
        "via": entry.via,
        "device": entry.device,
        "facts": entry.facts,
        "corrects": str(entry.corrects_id) if entry.corrects_id else None,
    }


def utc_text(moment: datetime) -> str:
    """A moment as hashed: UTC to the microsecond, the same on both databases."""
    return moment.astimezone(UTC).isoformat(timespec="microseconds")


@dataclass(frozen=True)
class Break:
    """Where a chain stops being the one that was recorded.

    `code` is ENTRY_MISSING (a position is not there, or there twice), ENTRY_MISPLACED (it does not follow the one
    before it), ENTRY_CHANGED or HEAD_DIFFERS (the newest are cut off, added or others); `entry` is the id of the
    entry where it shows.
    """

    code: str
    position: int
    entry: UUID | None = None

    def why(self, count: int) -> str:
        """A few words for whoever looks after the record; `count` is how many entries there should be."""
        return {
            "ENTRY_MISSING": "entry {position} is missing or out of order",
            "ENTRY_MISPLACED": "entry {position} does not follow the one before it",
            "ENTRY_CHANGED": "entry {position} ({entry}) was changed after it was recorded",
            "ENTRY_UNREADABLE": "a value in its entries cannot be read",
            "STATE_MISSING": "its state is missing",
            "HEAD_DIFFERS": "{count} entries were recorded, {position} are there, or the newest is another",
        }[self.code].format(position=self.position, entry=self.entry, count=count)


def first_break(
    chain: Iterable[Entry], *, subject: str, usernames: Mapping[int, str], count: int, head_hash: str
) -> Break | None:
    """The first break of a subject's entries, given in order of position; None for a whole chain."""
    previous, position = "", 0
    for position, entry in enumerate(chain, start=1):
        if entry.position != position:
            return Break("ENTRY_MISSING", position, entry.id)
        if entry.previous_hash != previous:
            return Break("ENTRY_MISPLACED", position, entry.id)
        try:
            stated = payload(entry, subject=subject, by=usernames[entry.by_id] if entry.by_id else "")
            intact = entry.hash == entry_hash(stated, previous)
        except (KeyError, TypeError, ValueError, AttributeError):
            intact = False
        if not intact:
            return Break("ENTRY_CHANGED", position, entry.id)
        previous = entry.hash
    if position != count or previous != head_hash:
        return Break("HEAD_DIFFERS", position)
    return None


def moment_of(
    kind: str, facts: Mapping, *, occurred_at: datetime | None, occurred_on: date | None, now: datetime
) -> tuple[datetime, date, str]:
    """(moment in UTC, day in the site's zone, precision) of something that happened. Raises BadMoment."""
    zone = site_zone()
    if occurred_at is None and occurred_on is None:
        occurred_at = now
    if occurred_at is not None:
        occurred_at, day, precision = (
            _checked(occurred_at, now),
            moments.local_day(occurred_at, zone),
            "moment",
        )
    else:
        day, precision = occurred_on, "day"
    if day > moments.local_day(now + SKEW, zone):
        raise BadMoment(_("An entry cannot lie in the future. Check the date."))
    if day < EARLIEST:
        raise BadMoment(_("A date before 1900 cannot be right. Check the year."))
    if precision == "day":
        early = entries.sorts_early(kind, facts)
        occurred_at = moments.start_of_day(day, zone) if early else moments.late_in_day(day, zone)
    return occurred_at.astimezone(UTC), day, precision


def _checked(occurred_at: datetime, now: datetime) -> datetime:
    if occurred_at.tzinfo is None:
        raise BadMoment(_("The time of an entry needs its offset from UTC."))
    if occurred_at > now + SKEW:
        raise BadMoment(_("An entry cannot lie in the future. Check the date and the clock of the device."))
    return occurred_at
