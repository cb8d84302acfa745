"""What is said of an item the moment it is scanned at the bench, before anything is applied to it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from gear.rules.fold import ItemFacts
from inspections.rules.bench import BenchSheet, likely_purpose

PAIRED = ("glove", "sleeve")


@dataclass(frozen=True)
class Notice:
    """One thing to know; `bars` where the item cannot be tested at all."""

    code: str
    values: Mapping[str, Any] = field(default_factory=dict)
    bars: bool = False


@dataclass(frozen=True)
class Before:
    """The item that was scanned before this one, as far as pairs go; `mate` is the number of its other hand."""

    item_no: str
    kind: str
    hand: str
    set_no: str
    mate: str = ""
    is_mate_here: bool = True


def notices(facts: ItemFacts, *, purpose: str, before: Before | None = None) -> list[Notice]:
    """What speaks against this item on this bench now, the worst first."""
    found = [*_condition(facts), *_place(facts)]
    if before is not None and (wrong := _not_the_mate(facts, before)):
        found.append(wrong)
    likely = likely_purpose(facts)
    if likely != purpose and not (purpose == "first" and likely == "in_service"):
        found.append(Notice("OTHER_PURPOSE", {"likely": likely, "purpose": purpose}))
    return found


def _condition(facts: ItemFacts) -> list[Notice]:
    if facts.destroyed:
        return [Notice("DESTROYED", {"on": facts.destroyed.on}, bars=True)]
    for code, happened in (
        ("REJECTED", facts.failed or facts.damaged or facts.rejected),
        ("LOST", facts.lost),
        ("DIRTY", facts.needs_cleaning),
    ):
        if happened:
            return [Notice(code, {"on": happened.on})]
    return [Notice("ON_HOLD", {"reason": facts.holds[-1].reason})] if facts.holds else []


def _place(facts: ItemFacts) -> list[Notice]:
    holder = facts.holder or {}
    return [Notice("AT_LAB", {"holder": holder["name"]})] if holder.get("kind") == "lab" else []


def _not_the_mate(facts: ItemFacts, before: Before) -> Notice | None:
    """Of a pair whose one hand was just tested the other is awaited; the other hand of another pair is a slip.

    The same hand of another pair is none: some benches take all lefts first.
    """
    identity = facts.identity
    awaited = before.kind in PAIRED and before.mate and not before.is_mate_here
    halves = {before.hand, identity.get("hand")} == {"L", "R"} and identity.get("kind") == before.kind
    if not awaited or not halves or facts.item_no == before.mate:
        return None
    return Notice("NOT_THE_MATE", {"mate": before.mate, "before": before.item_no})


def reasons_needed(
    sheet: BenchSheet,
    facts: ItemFacts,
    *,
    purpose: str,
    supply: str,
    applied_v: int | None,
    seconds: int | None,
) -> list[Notice]:
    """What may be typed only with a reason: another voltage than the proof of the class, and the short time of an
    in-service test for what was never tested nor issued."""
    found = []
    proof = sheet.proof.get(supply)
    if proof is not None and applied_v is not None and applied_v != proof.value:
        found.append(Notice("VOLTAGE_DIFFERS", {"applied_v": applied_v, "proof_v": proof.value}))
    first = sheet.seconds.get("first")
    is_short = first is not None and seconds is not None and seconds < first.value  # type: ignore[operator]
    if purpose != "first" and likely_purpose(facts) == "first" and is_short:
        found.append(Notice("SHORT_FOR_FIRST", {"seconds": seconds, "required": first.value}))  # type: ignore[union-attr]
    return found
