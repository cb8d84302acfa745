"""Exceptions in force: notes with a name, a reason, a last day and who approved. They change no verdict."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from gear.rules.whereabouts import Place
from reports.rules.overdue import Scope


@dataclass(frozen=True)
class Noted:
    """One exception. `subject` is the number of the piece or the name of the crew or truck, empty for everything.

    `closed_at` is when a second entry closed it, `closed_by` and `why` tell of it.
    """

    key: str
    about: str
    subject: str
    place: Place
    name: str
    reason: str
    begins_on: date
    ends_on: date
    approved_by: str
    by: str
    at: datetime
    closed_at: datetime | None = None
    closed_by: str = ""
    why: str = ""

    def in_force(self, on: date, at: datetime) -> bool:
        """Whether it stands on a day, by what was noted until a moment. It ends by itself with its last day."""
        closed = self.closed_at is not None and self.closed_at <= at
        return self.at <= at and self.begins_on <= on <= self.ends_on and not closed

    def concerns(self, scope: Scope) -> bool:
        """Whether it is shown to whoever sees this gear: one about everything is shown to everybody."""
        return self.about == "all" or scope.covers(self.place)


def standing(notes: Iterable[Noted], *, on: date, at: datetime, scope: Scope) -> tuple[Noted, ...]:
    """Those in force on a day for a reader, the first to end first."""
    found = [one for one in notes if one.in_force(on, at) and one.concerns(scope)]
    return tuple(sorted(found, key=lambda one: (one.ends_on, one.name)))
