"""Which rule pack and site policy are in force on a day, from the site's own entries."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from functools import lru_cache
from typing import Any, NamedTuple

from gear.ledger.reading import site_entries
from gear.rules import packs, policy
from gear.rules.correcting import corrected
from gear.rules.readiness import Rules

DEFAULT_PACK = ("us_federal", "1")
SINCE = date(1900, 1, 1)  # the shipped pack and policy count from here on
RULE_KINDS = ("pack_adopted", "policy_set")


class Proposed(NamedTuple):
    """What a rule entry would say, to be looked at before it is recorded."""

    kind: str
    facts: Mapping


def site_lines(known_at: datetime | None = None) -> list:
    """The site's entries about rules known by `known_at` (all when None), corrected, in order of recording."""
    return _lines(known_at)[0]


def _lines(known_at: datetime | None) -> tuple[list, str]:
    """(`site_lines`, why they cannot be relied upon or an empty string)."""
    from gear.ledger.chain import line_of

    found, why = site_entries((*RULE_KINDS, "corrected"))
    known = [line_of(entry) for entry in found if known_at is None or entry.recorded_at <= known_at]
    return [line for line in corrected(known) if line.kind in RULE_KINDS], why


def rules_on(as_of: date, *, known_at: datetime | None = None) -> Rules:
    """The rules that count on a day. Where the pack or policy cannot be relied upon, `pack` is None.

    With nothing adopted, the shipped pack and policy have been in force since 1900-01-01.
    """
    return rules_by_day(known_at=known_at)(as_of)


def rules_by_day(
    *, known_at: datetime | None = None, proposed: Sequence[Proposed] = ()
) -> Callable[[date], Rules]:
    """`rules_on` for many days with a constant number of queries; every day is worked out once.

    `proposed` counts as if it had been recorded last. Where the site's own record does not hold together, no rule
    read from it can be relied upon.
    """
    return lines_and_rules(known_at=known_at, proposed=proposed)[1]


def lines_and_rules(
    *, known_at: datetime | None = None, proposed: Sequence[Proposed] = ()
) -> tuple[list, Callable[[date], Rules]]:
    """(`site_lines` and what is proposed, `rules_by_day`), from one reading of the site's entries."""
    lines, why = _lines(known_at)
    if why:
        return lines, lambda _as_of: Rules(None, policy.SitePolicy(), why)
    lines += proposed
    return lines, lru_cache(maxsize=None)(lambda as_of: _rules(lines, as_of))


def change_days(lines: Sequence) -> list[date]:
    """Every day from which other rules may count, the earliest first; the first of all is SINCE."""
    return sorted({SINCE, *map(effective_from, lines)})


def effective_from(line: Any) -> date:
    """The day from which a rule entry counts. One that cannot be read counts from the start, and refuses the rules."""
    try:
        return date.fromisoformat(line.facts["effective_from"])
    except (KeyError, TypeError, ValueError):
        return SINCE


def line_in_force(lines: Sequence, kind: str, as_of: date) -> Any:
    """The entry of a kind that counts on the day: the latest effective date, then the last recorded. None: none."""
    running = [
        (date.fromisoformat(line.facts["effective_from"]), index)
        for index, line in enumerate(lines)
        if line.kind == kind and date.fromisoformat(line.facts["effective_from"]) <= as_of
    ]
    return lines[max(running)[1]] if running else None


def _rules(lines: list, as_of: date) -> Rules:
    try:
        site_policy = policy_on(lines, as_of)
    except (KeyError, TypeError, ValueError, packs.PackRefused) as error:
        return Rules(None, policy.SitePolicy(), f"site policy: {error}")
    try:
        pack = pack_on(lines, as_of)
        if laxer := policy.laxer_fields(site_policy, pack):
            return Rules(None, site_policy, f"site policy is laxer than the rule pack: {laxer[0].field}")
        return Rules(pack, site_policy)
    except (KeyError, TypeError, ValueError, packs.PackRefused) as error:
        return Rules(None, site_policy, str(error))


def pack_on(lines: Sequence, as_of: date) -> packs.RulePack:
    """The pack that the lines put in force on the day. Raises PackRefused where its file is not the one adopted."""
    line = line_in_force(lines, "pack_adopted", as_of)
    if line is None:
        return packs.load(*DEFAULT_PACK)
    adopted = line.facts
    pack = packs.load(adopted["name"], adopted["version"])
    if pack.sha256 != adopted["sha256"]:
        raise packs.PackRefused(f"{pack.label} is not the file that was adopted")
    return pack


def policy_on(lines: Sequence, as_of: date) -> policy.SitePolicy:
    """The policy that the lines put in force on the day. Raises PolicyRefused or PackRefused where it is unreadable."""
    line = line_in_force(lines, "policy_set", as_of)
    return policy.from_toml() if line is None else policy.parse(line.facts["policy"])
