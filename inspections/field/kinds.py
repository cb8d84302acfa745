"""What a phone may send, by the name of the record, and what is done with each."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from gear.actions.acting import Act
from gear.models import Item, User
from inspections.models import Device


@dataclass(frozen=True)
class Sent:
    """One record as a phone sent it. `told` is what its screen said of the item at that moment, if it did.

    `told`: {"verdict", "as_of_ms", "data_age_s", "source"}. `body` holds the fields of this kind of record alone.
    `person` is None only for an answer that a shared tablet showed to nobody in particular. `flags`: what is doubtful:
    OCCURRED_IN_FUTURE, OCCURRED_BEFORE_ENROLMENT (`occurred_at` is then that of arrival), SUBMITTED_AFTER_DISABLE.
    """

    id: UUID
    kind: str
    item: Item | None
    person: User | None
    device: Device
    occurred_at: datetime
    told: Mapping[str, Any] | None
    body: Mapping[str, Any]
    flags: tuple[str, ...] = ()


class BadRecord(ValueError):
    """A record that cannot be read. The message names the field."""


Doing = Callable[[Sent, Act], dict[str, Any]]
# kind: what does it; inspections.field.registry fills this. It raises Refused, NotAllowed, LedgerError, BadFacts or
# BadRecord, and returns what is kept of it.
KINDS: dict[str, Doing] = {}


def text(body: Mapping[str, Any], name: str, *, most: int = 500) -> str:
    """A text of the record, trimmed; empty where it is left out. Raises BadRecord."""
    value = body.get(name, "")
    if not isinstance(value, str) or len(value) > most:
        raise BadRecord(f"{name} must be a text of at most {most} characters.")
    return " ".join(value.split())


def words(body: Mapping[str, Any], name: str, *, most: int = 12) -> list[str]:
    """A list of short words of the record. Raises BadRecord."""
    value = body.get(name, [])
    if not isinstance(value, list) or len(value) > most or not all(isinstance(one, str) for one in value):
        raise BadRecord(f"{name} must be a list of at most {most} words.")
    return value


def day(body: Mapping[str, Any], name: str) -> date | None:
    """A calendar day of the record (YYYY-MM-DD); None where it is left out. Raises BadRecord."""
    value = body.get(name)
    if value is None:
        return None
    try:
        found = date.fromisoformat(value)
    except (TypeError, ValueError):
        raise BadRecord(f"{name} must be a day as 2026-10-02.") from None
    if found.isoformat() != value:
        raise BadRecord(f"{name} must be a day as 2026-10-02.")
    return found
