"""Which rule pack and site policy are in force on a day, from the site's own entries."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from functools import lru_cache

from gear.models import Entry
from gear.rules import packs, policy
from gear.rules.fold import corrected
from gear.rules.readiness import Rules

DEFAULT_PACK = ("us_federal", "1")


def site_lines(known_at: datetime | None = None) -> list:
    """The site's entries known by `known_at` (all when None), corrections applied, in order of recording."""
    from gear.ledger.chain import line_of

    found = Entry.objects.filter(item__isnull=True, gear_set__isnull=True).order_by("position")
    if known_at is not None:
        found = found.filter(recorded_at__lte=known_at)
    return corrected(line_of(entry) for entry in found)


def rules_on(as_of: date, *, known_at: datetime | None = None) -> Rules:
    """The rules that count on a day. Where the pack or policy cannot be relied upon, `pack` is None.

    With nothing adopted, the shipped pack and policy have been in force since 1900-01-01.
    """
    return _rules(site_lines(known_at), as_of)


def rules_by_day(*, known_at: datetime | None = None) -> Callable[[date], Rules]:
    """`rules_on` for many days with one query; every day is worked out once."""
    lines = site_lines(known_at)
    return lru_cache(maxsize=None)(lambda as_of: _rules(lines, as_of))


def _rules(lines: list, as_of: date) -> Rules:
    try:
        site_policy = _policy_on(lines, as_of)
    except (KeyError, TypeError, ValueError, packs.PackRefused) as error:
        return Rules(None, policy.SitePolicy(), f"site policy: {error}")
    try:
        pack = _pack_on(lines, as_of)
        if laxer := policy.laxer_fields(site_policy, pack):
            return Rules(None, site_policy, f"site policy is laxer than the rule pack: {laxer[0].field}")
        return Rules(pack, site_policy)
    except packs.PackRefused as error:
        return Rules(None, site_policy, str(error))


def _in_force(lines, kind: str, as_of: date):
    """The facts of the newest entry of a kind that is in force on the day, or None."""
    running = [
        (line.facts["effective_from"], index, line.facts)
        for index, line in enumerate(lines)
        if line.kind == kind and date.fromisoformat(line.facts["effective_from"]) <= as_of
    ]
    return max(running)[2] if running else None


def _pack_on(lines, as_of: date) -> packs.RulePack:
    adopted = _in_force(lines, "pack_adopted", as_of)
    if adopted is None:
        return packs.load(*DEFAULT_PACK)
    pack = packs.load(adopted["name"], adopted["version"])
    if pack.sha256 != adopted["sha256"]:
        raise packs.PackRefused(f"{pack.label} is not the file that was adopted")
    return pack


def _policy_on(lines, as_of: date) -> policy.SitePolicy:
    stated = _in_force(lines, "policy_set", as_of)
    return policy.from_toml() if stated is None else policy.parse(stated["policy"])
