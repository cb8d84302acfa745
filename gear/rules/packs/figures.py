"""The values that a rule pack hands out: figures with their source, intervals, rules by kind."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

STATUSES = ("read", "memory", "conflict", "computed", "inference", "unverified")
UNITS = ("months", "days")


class PackRefused(Exception):
    """A rule pack cannot be used; every answer is then `unknown`. The message is a sentence that names file and row."""

    def __init__(self, message: str) -> None:
        super().__init__(message)
        self.message = message


@dataclass(frozen=True)
class Interval:
    """A span of calendar months or of days. `unit` is "months" or "days"."""

    count: int
    unit: str


@dataclass(frozen=True)
class Figure:
    """One value of a table with where it comes from. `value` is None where no value is asserted."""

    value: int | Decimal | str | None
    source: str
    clause: str
    status: str
    copy_to_confirm: bool = False

    @property
    def confirm(self) -> bool:
        """True where screens must say "confirm against your own copy of the standard"."""
        return self.copy_to_confirm or self.status not in ("read", "computed")


@dataclass(frozen=True)
class KindRule:
    """What the pack says of one kind of gear. `interval` is None exactly when `no_clock` is true."""

    kind: str
    interval: Interval | None
    no_clock: bool
    shelf_limit: Interval | None
    test_required: bool
    dc_allowed: bool
    voiding_events: frozenset[str]
    repair_allowed: bool
    source: str
    status: str
    clause: str = ""
    repair: str = ""
    classes: tuple[str, ...] = ()
