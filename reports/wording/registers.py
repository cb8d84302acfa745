"""Registers in words: what a correction changed, what a rule changed, how late an entry was."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import timedelta
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear.models import Entry
from gear.rules import packs, policy
from gear.rules.entries import UNREADABLE


def subject(entry: Entry) -> str:
    """The item or set that an entry is about; `the site` where neither."""
    if entry.item is not None:
        return entry.item.item_no
    return entry.gear_set.set_no if entry.gear_set is not None else _("the site")


def delay(span: timedelta) -> str:
    """`12 days`, `5 hours`, `4 minutes`: in the largest unit, rounded down."""
    minutes = max(0, int(span.total_seconds() // 60))
    if minutes >= 24 * 60:
        return ngettext("%d day", "%d days", minutes // (24 * 60)) % (minutes // (24 * 60))
    if minutes >= 60:
        return ngettext("%d hour", "%d hours", minutes // 60) % (minutes // 60)
    return ngettext("%d minute", "%d minutes", minutes) % minutes


def step(least: timedelta | None, below: timedelta | None) -> str:
    """A row of the late entries: how late at least, and below how much."""
    if least is None:
        return _("within a day")
    if below is None:
        return _("%d days late or more") % least.days
    return _("%(least)d to %(below)d days late") % {"least": least.days, "below": below.days}


def pack_changes(new: Mapping[str, Any], old: Mapping[str, Any] | None) -> list[tuple[str, str, str]]:
    """(field, before, after) of a pack that was adopted, with the parts of it that differ."""
    before = old or {"name": "us_federal", "version": "1", "sha256": _("as shipped")}
    names = (("name", _("Rule pack")), ("version", _("Version")), ("sha256", _("SHA-256 of its file")))
    found = [
        (word, str(before.get(name, "")), str(new.get(name, "")))
        for name, word in names
        if before.get(name) != new.get(name)
    ]
    return [*found, *_parts(new, before)]


def _parts(new: Mapping[str, Any], old: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    try:
        first, second = (packs.load(one["name"], one["version"]) for one in (old, new))
    except (*UNREADABLE, packs.PackRefused):
        return [(_("Parts that differ"), "", _("one of the two packs cannot be read any more"))]
    differ = [one.name for one in fields(first) if getattr(first, one.name) != getattr(second, one.name)]
    return (
        [(_("Parts that differ"), "", ", ".join(name.replace("_", " ") for name in differ))] if differ else []
    )


def policy_changes(new: Mapping[str, Any], old: Mapping[str, Any] | None) -> list[tuple[str, str, str]]:
    """(field, before, after) of every choice in which a policy differs from the one recorded before it."""
    try:
        before = _flat(policy.to_json(policy.parse(old["policy"]) if old else policy.from_toml()))
        after = _flat(policy.to_json(policy.parse(new["policy"])))
    except (*UNREADABLE, packs.PackRefused):
        return [(_("Cannot be read"), "", str(dict(new))[:200])]
    return [
        (name, before.get(name, "–"), after.get(name, "–"))
        for name in sorted(before.keys() | after.keys())
        if before.get(name) != after.get(name)
    ]


def _flat(stated: Mapping[str, Any]) -> dict[str, str]:
    found: dict[str, str] = {}
    for name, value in stated.items():
        word = name.replace("_", " ")
        if isinstance(value, Mapping):
            found |= {
                f"{word}: {kind.replace('_', ' ')}": f"{one['count']} {one['unit']}"
                for kind, one in value.items()
            }
        else:
            found[word] = (_("yes") if value else _("no")) if isinstance(value, bool) else str(value)
    return found


def effective(entry: Entry) -> str:
    """The day from which a rule counts, or nothing where it does not say."""
    return str(entry.facts.get("effective_from", "")) if isinstance(entry.facts, Mapping) else ""
