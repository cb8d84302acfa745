"""What a phone may send, by the name of the record, and what is done with each."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from gear.actions.acting import Act
from gear.models import Item, User
from inspections.models import Device


@dataclass(frozen=True)
class Sent:
    """One record as a phone sent it. `told` is what its screen said of the item at that moment, if it did.

    `told`: {"verdict", "as_of_ms", "data_age_s", "source"}. `body` holds the fields of this kind of record alone.
    """

    id: UUID
    kind: str
    item: Item | None
    person: User
    device: Device
    occurred_at: datetime
    told: Mapping[str, Any] | None
    body: Mapping[str, Any]


class BadRecord(ValueError):
    """A record that cannot be read. The message names the field."""


Doing = Callable[[Sent, Act], dict[str, Any]]
# kind: what does it. It raises Refused, NotAllowed, LedgerError, BadFacts or BadRecord, and returns what is kept of it.
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
