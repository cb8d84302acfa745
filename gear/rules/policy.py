"""Site policy: what a site chooses on top of its rule pack. A laxer choice is refused with its clause."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from gear.rules.clocks import anniversary
from gear.rules.packs import DEFAULT, Interval, KindRule, PackRefused, RulePack, read_verified

SHIPPED = "shipped_policy.toml"
LONGEST = {"months": 120, "days": 3660}
LONGEST_DUE_SOON_DAYS = 366
INTERVAL_FIELDS = ("intervals", "shelf_limits")
FLAG_FIELDS = ("count_from_test", "preuse_stops", "other_holder_stops")
LONGEST_PHONE_HOURS = 12  # one long shift; common practice, no source
LATER_FIELDS = ("phone_hours",)  # a policy recorded before they came lacks them, and means the default
FIELDS = (*INTERVAL_FIELDS, *FLAG_FIELDS, "due_soon_days", *LATER_FIELDS, "source")


class PolicyRefused(ValueError):
    """A policy cannot be read. `field` names the part at fault, for example "intervals.glove"."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(f"{field}: {message}")
        self.field = field


@dataclass(frozen=True)
class Refusal:
    """One choice that may not stand. `clause` is what it would break; `message_code` and `values` make the sentence."""

    field: str
    clause: str
    message_code: str
    values: Mapping[str, Any]


@dataclass(frozen=True)
class SitePolicy:
    """The choices of a site. An interval beside the pack's never replaces it: the earlier clock wins.

    `intervals` and `shelf_limits` map a kind to an Interval. `count_from_test` counts every period from the test.
    `preuse_stops` and `other_holder_stops` turn those two notes into `stop`. `due_soon_days` is a number of days.
    `phone_hours` is for how many hours a phone may answer from data that it fetched.
    """

    intervals: Mapping[str, Interval] = field(default_factory=dict)
    shelf_limits: Mapping[str, Interval] = field(default_factory=dict)
    count_from_test: bool = False
    preuse_stops: bool = False
    other_holder_stops: bool = False
    due_soon_days: int = 28
    phone_hours: int = LONGEST_PHONE_HOURS
    source: str = "site policy"

    def __post_init__(self) -> None:
        for name in INTERVAL_FIELDS:
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))


def parse(given: Mapping[str, Any]) -> SitePolicy:
    """A policy from its JSON or TOML form. Raises PolicyRefused for anything unknown, missing or of the wrong sort.

    Fields may not be left out: a policy that is read half is no policy. LATER_FIELDS alone may be.
    """
    for name in given:
        if name not in FIELDS:
            raise PolicyRefused(str(name), "is no field of a site policy. Remove it or correct its name.")
    for name in FIELDS:
        if name not in given and name not in LATER_FIELDS:
            raise PolicyRefused(name, "is missing. State it.")
    for name in FLAG_FIELDS:
        if not isinstance(given[name], bool):
            raise PolicyRefused(name, "must be true or false.")
    if not isinstance(given["source"], str) or not given["source"].strip():
        raise PolicyRefused("source", "must say where the choices come from.")
    if not _whole(given["due_soon_days"]):
        raise PolicyRefused("due_soon_days", "must be a whole number of days.")
    if not _whole(given.get("phone_hours", LONGEST_PHONE_HOURS)):
        raise PolicyRefused("phone_hours", "must be a whole number of hours.")
    spans = {name: _parsed_intervals(name, given[name]) for name in INTERVAL_FIELDS}
    return SitePolicy(**{**given, **spans})


def to_json(policy: SitePolicy) -> dict[str, Any]:
    """The same policy as plain dicts, numbers, flags and strings; `parse` gives it back unchanged."""
    spans = {
        name: {
            kind: {"count": interval.count, "unit": interval.unit}
            for kind, interval in sorted(getattr(policy, name).items())
        }
        for name in INTERVAL_FIELDS
    }
    return {name: spans[name] if name in spans else getattr(policy, name) for name in FIELDS}


def from_toml(file_name: str = SHIPPED, directory: Path = DEFAULT) -> SitePolicy:
    """The shipped policy: 12 months where the pack has no clock (common practice, no source).

    Raises PackRefused when the file is missing, altered or unreadable: it is as much a rule as the pack is.
    """
    content = read_verified(file_name, directory)
    try:
        return _of(content)
    except ValueError as error:
        raise PackRefused(f"{file_name} is not a readable site policy: {error}.") from None


@lru_cache(maxsize=8)
def _of(content: bytes) -> SitePolicy:
    """The file is read and verified for every answer; what it says is worked out once."""
    return parse(tomllib.loads(content.decode("utf-8"), parse_float=Decimal))


def laxer_fields(policy: SitePolicy, pack: RulePack) -> list[Refusal]:
    """Every choice that is laxer than the pack, absurd, or about an unknown kind. Empty: it may stand."""
    refusals: list[Refusal] = []
    for name in INTERVAL_FIELDS:
        for kind, interval in sorted(getattr(policy, name).items()):
            refusals += _interval_refusals(f"{name}.{kind}", name, interval, pack.kind_rule(kind), kind)
    if not _whole(policy.due_soon_days) or not 0 <= policy.due_soon_days <= LONGEST_DUE_SOON_DAYS:
        values = {"days": policy.due_soon_days, "longest": LONGEST_DUE_SOON_DAYS}
        refusals.append(Refusal("due_soon_days", "internal control", "DUE_SOON_DAYS_ABSURD", values))
    if not _whole(policy.phone_hours) or not 1 <= policy.phone_hours <= LONGEST_PHONE_HOURS:
        values = {"hours": policy.phone_hours, "longest": LONGEST_PHONE_HOURS}
        refusals.append(Refusal("phone_hours", "internal control", "PHONE_HOURS_LAXER", values))
    return refusals


def _interval_refusals(
    where: str, name: str, interval: Interval, rule: KindRule | None, kind: str
) -> Iterator[Refusal]:
    if rule is None:
        yield Refusal(where, "internal control", "KIND_UNKNOWN", {"kind": kind})
        return
    values = {"kind": kind, "count": interval.count, "unit": interval.unit}
    if not _whole(interval.count) or not 0 < interval.count <= LONGEST.get(interval.unit, 0):
        yield Refusal(where, "internal control", "INTERVAL_ABSURD", values)
        return
    limit = rule.interval if name == "intervals" else rule.shelf_limit
    if limit is not None and ever_later(interval, limit):
        code = "INTERVAL_LAXER" if name == "intervals" else "SHELF_LIMIT_LAXER"
        allowed = {"allowed_count": limit.count, "allowed_unit": limit.unit}
        yield Refusal(where, f"{rule.source}: {rule.clause}", code, {**values, **allowed})


@lru_cache(maxsize=1024)
def ever_later(interval: Interval, limit: Interval) -> bool:
    """Whether there is any day on which `interval`, begun that day, ends after `limit` begun the same day.

    One month is 28 days in February, so 30 days is later than one month, and one month is later than 30 days.
    """
    if interval.unit == limit.unit:
        return interval.count > limit.count
    return any(
        anniversary(start, interval.count, interval.unit) > anniversary(start, limit.count, limit.unit)
        for start in _start_days()
    )


def _start_days() -> Iterator[date]:
    """A leap cycle for the longest spans, and the eight years round 2100, which has no leap day, for the shortest."""
    for first, days in ((date(2024, 1, 1), 1461), (date(2096, 1, 1), 2922)):
        for offset in range(days):
            yield first + timedelta(days=offset)


def _parsed_intervals(name: str, given: object) -> dict[str, Interval]:
    if not isinstance(given, Mapping):
        raise PolicyRefused(name, "must map each kind to a count and a unit.")
    return {kind: _parsed_interval(f"{name}.{kind}", value) for kind, value in given.items()}


def _parsed_interval(where: str, value: object) -> Interval:
    if not isinstance(value, Mapping) or set(value) != {"count", "unit"}:
        raise PolicyRefused(where, "needs a count and a unit, nothing else.")
    count, unit = value["count"], value["unit"]
    if unit not in LONGEST:
        raise PolicyRefused(where, "the unit must be months or days.")
    if not _whole(count) or not 0 < count <= LONGEST[unit]:
        raise PolicyRefused(where, f"the count must be a whole number from 1 to {LONGEST[unit]} {unit}.")
    return Interval(count, unit)


def _whole(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)
