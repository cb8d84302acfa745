"""Accepted, failed, void or unjudged: what one electrical test says, computed from its readings and never typed.

Failed wins over void, void over unjudged; accepted is what is left when nothing speaks against it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from gear.rules.packs import RUBBER_KINDS, Figure, RulePack
from inspections.rules.grounding import JumperCheck, check_jumper, temperature_factor

ACCEPTED, FAILED, VOID, UNJUDGED = "accepted", "failed", "void", "unjudged"
WORST_FIRST = (FAILED, VOID, UNJUDGED)
PROOF_TESTED_KINDS = (*RUBBER_KINDS, "rigid_cover")

# What each finding makes of the test (29 CFR 1910.137 Tables I-1 to I-4; for jumpers a summary of ASTM F2249).
FINDINGS: Mapping[str, str] = {
    "BREAKDOWN": FAILED,
    "CURRENT_ABOVE_LIMIT": FAILED,
    "CURRENT_ABOVE_EVERY_LIMIT": FAILED,
    "RESISTANCE_ABOVE_LIMIT": FAILED,
    "VISUAL_REJECT": FAILED,
    "VISUAL_TEST": VOID,
    "VISUAL_CLEAN": VOID,
    "FLASHOVER": VOID,
    "INSTRUMENT_EXPIRED": VOID,
    "DC_NOT_ALLOWED": VOID,
    "VOLTAGE_TOO_LOW": VOID,
    "TOO_SHORT": VOID,
    "ZERO_CURRENT": VOID,
    "LOW_FOR_SESSION": VOID,
    "LOW_FOR_ITEM": VOID,
    "ZERO_RESISTANCE": VOID,
    "READING_MISSING": VOID,
    "READING_ABSURD": VOID,
    "KEPT_AS_EVIDENCE": VOID,
    "CLASS_NOT_STATED": UNJUDGED,
    "LENGTH_NOT_STATED": UNJUDGED,
    "CABLE_NOT_STATED": UNJUDGED,
    "NO_PROOF_FIGURE": UNJUDGED,
    "NO_CURRENT_LIMIT": UNJUDGED,
    "NO_RESISTANCE_LIMIT": UNJUDGED,
    "MATERIAL_WITHOUT_LIMIT": UNJUDGED,
    "IMPEDANCE_ABOVE_LIMIT": UNJUDGED,
    "NO_DURATION_FIGURE": UNJUDGED,
    "NO_ELECTRICAL_FIGURES": UNJUDGED,
}
# A charging current below this part of what was to be expected is a fault of the set-up. Common practice, no source.
LEAST_PERCENT = 40
EFFECTS: Mapping[str, str] = {"VISUAL_TEST": "suspect", "VISUAL_CLEAN": "needs_cleaning"}


@dataclass(frozen=True)
class TestedItem:
    """What is known of the piece on the bench. Lengths in whole millimetres; None means not stated."""

    kind: str
    cls: str | None = None
    length_mm: int | None = None
    cable_size: str | None = None
    cable_length_mm: int | None = None


@dataclass(frozen=True)
class Expected:
    """What a current is compared with: the median of `count` readings of its session, or (count 0) the last accepted
    reading of the same item. mA."""

    leakage_ma: Decimal
    count: int = 0


@dataclass(frozen=True)
class Reading:
    """One line of a test book. V, s, mA, milliohm, degrees C, A; None means not stated, and is never taken for a pass.

    `purpose` first, in_service, after_repair or suspect; `supply` ac or dc; `visual` accept, clean, test or reject, and
    where both looks are stated the worse of them (`worse_look`).
    """

    tested_on: date
    purpose: str
    supply: str | None = None
    applied_v: int | None = None
    seconds: int | None = None
    leakage_ma: Decimal | None = None
    resistance_mohm: Decimal | None = None
    cable_temp_c: Decimal | None = None
    visual: str | None = None
    breakdown: bool | None = None
    flashover: bool | None = None
    instrument_expired: bool = False
    kept_as_evidence: bool = False
    test_a: Decimal | None = None
    method: str | None = None
    material: str | None = None
    look_before: str | None = None
    look_after: str | None = None
    expected: Expected | None = None


@dataclass(frozen=True)
class Finding:
    """One reason for an outcome; `values` are plain numbers and strings for its sentence."""

    code: str
    values: Mapping[str, Any] = field(default_factory=dict)

    @property
    def outcome(self) -> str:
        return FINDINGS[self.code]


@dataclass(frozen=True)
class Judgement:
    """The outcome with every finding, worst first, and the figures it was judged against.

    `limit` is the current limit of a glove in mA; `proof` the proof voltage in V; `effects` may hold "needs_cleaning"
    and "suspect"; `details` the arithmetic of a jumper in milliohm.
    """

    outcome: str
    codes: tuple[Finding, ...]
    limit: Figure | None = None
    proof: Figure | None = None
    effects: frozenset[str] = frozenset()
    details: Mapping[str, Decimal] = field(default_factory=dict)


def judge(reading: Reading, item: TestedItem, pack: RulePack) -> Judgement:
    """Judge a test by its stated purpose. Nothing that is missing, absurd or without a figure is ever accepted."""
    findings = list(_seen(reading))
    limit = proof = None
    details: Mapping[str, Decimal] = {}
    if item.kind in PROOF_TESTED_KINDS:
        proof = pack.proof_v(item.kind, item.cls, reading.supply)
        findings += _voltage(reading, item, pack, proof)
        findings += _duration(reading, pack)
        if item.kind == "glove":
            limit = pack.glove_limit_ma(item.cls, item.length_mm)
            findings += _current(reading, item, pack, limit)
    elif item.kind == "grounding_jumper":
        found, details = _resistance(reading, item, pack)
        findings += found
    elif _needs_figures(item, pack):
        findings.append(Finding("NO_ELECTRICAL_FIGURES", {"kind": item.kind}))
    ordered = tuple(sorted(findings, key=lambda finding: WORST_FIRST.index(finding.outcome)))
    outcome = ordered[0].outcome if ordered else ACCEPTED
    effects = frozenset(EFFECTS[finding.code] for finding in ordered if finding.code in EFFECTS)
    return Judgement(outcome, ordered, limit, proof, effects, details)


def worse_look(before: str | None, after: str | None) -> str | None:
    """The one word for both looks: the worse, and None where nothing bad was seen but a look is missing."""
    seen = [word for word in ("reject", "test", "clean") if word in (before, after)]
    if seen:
        return seen[0]
    return "accept" if before == after == "accept" else None


def _needs_figures(item: TestedItem, pack: RulePack) -> bool:
    """Whether a look alone says nothing: of every kind but those for which the pack requires no electrical test."""
    rule = pack.kind_rule(item.kind)
    return rule is None or rule.test_required


def _seen(reading: Reading) -> Iterator[Finding]:
    """What was looked at, and what happened on the bench, for every kind.

    A blank breakdown or flashover is "not stated": voltage held for the full time shows withstand by itself.
    """
    visual = {"reject": "VISUAL_REJECT", "test": "VISUAL_TEST", "clean": "VISUAL_CLEAN"}
    if reading.visual is None:
        yield Finding("READING_MISSING", {"field": "visual"})
    elif reading.visual in visual:
        yield Finding(visual[reading.visual])
    elif reading.visual != "accept":
        yield Finding("READING_ABSURD", {"field": "visual", "value": str(reading.visual)})
    if reading.breakdown:
        yield Finding("BREAKDOWN")
    if reading.flashover:
        yield Finding("FLASHOVER")
    if reading.instrument_expired:
        yield Finding("INSTRUMENT_EXPIRED")
    if reading.kept_as_evidence:
        yield Finding("KEPT_AS_EVIDENCE")


def _voltage(reading: Reading, item: TestedItem, pack: RulePack, proof: Figure | None) -> Iterator[Finding]:
    rule = pack.kind_rule(item.kind)
    yield from _unusable("applied_v", reading.applied_v)
    if reading.supply is None:
        yield Finding("READING_MISSING", {"field": "supply"})
    elif reading.supply not in ("ac", "dc"):
        yield Finding("READING_ABSURD", {"field": "supply", "value": str(reading.supply)})
    elif reading.supply == "dc" and not (rule and rule.dc_allowed):
        yield Finding("DC_NOT_ALLOWED", {"kind": item.kind})
    elif proof is None and item.cls is not None:
        yield Finding("NO_PROOF_FIGURE", {"kind": item.kind, "class": item.cls})
    if item.cls is None:
        yield Finding("CLASS_NOT_STATED")
    if proof is not None and _usable(reading.applied_v) and not reading.applied_v >= proof.value:  # type: ignore[operator]
        yield Finding("VOLTAGE_TOO_LOW", {"applied_v": reading.applied_v, "proof_v": proof.value})


def _duration(reading: Reading, pack: RulePack) -> Iterator[Finding]:
    required = pack.seconds_required(reading.purpose)
    yield from _unusable("seconds", reading.seconds)
    if required is None:
        yield Finding("NO_DURATION_FIGURE", {"purpose": str(reading.purpose)})
    elif _usable(reading.seconds) and not reading.seconds >= required.value:  # type: ignore[operator]
        yield Finding("TOO_SHORT", {"seconds": reading.seconds, "required": required.value})


def _current(reading: Reading, item: TestedItem, pack: RulePack, limit: Figure | None) -> Iterator[Finding]:
    """The current of a glove, on AC. Under DC there is no limit: the charging current falls to near zero.

    Where the supply is not stated a current above the limit still fails: under DC it would be worse, not better.
    """
    if reading.supply == "dc":
        return
    current = reading.leakage_ma
    yield from _unusable("leakage_ma", current)
    if _usable(current) and not current > 0:  # type: ignore[operator]
        yield Finding("ZERO_CURRENT")
    elif _usable(current) and limit is not None and not current <= limit.value:  # type: ignore[operator]
        yield Finding("CURRENT_ABOVE_LIMIT", {"leakage_ma": current, "limit_ma": limit.value})
    elif _usable(current):
        yield from implausible(current, reading.expected)  # type: ignore[arg-type]
    if item.length_mm is None:
        yield from _length_not_stated(current, pack.glove_limits_ma(item.cls))
    elif limit is None and item.cls is not None:
        yield Finding("NO_CURRENT_LIMIT", {"class": item.cls, "length_mm": item.length_mm})


def implausible(current: Decimal, expected: Expected | None) -> Iterator[Finding]:
    """A current so far below what was to be expected that the set-up is at fault, and nothing was proved."""
    if expected is None or not _usable(expected.leakage_ma):
        return
    if 100 * current < LEAST_PERCENT * expected.leakage_ma:
        values = {"leakage_ma": current, "expected_ma": expected.leakage_ma, "percent": LEAST_PERCENT}
        if expected.count:
            yield Finding("LOW_FOR_SESSION", {**values, "count": expected.count})
        else:
            yield Finding("LOW_FOR_ITEM", values)


def _length_not_stated(current: Decimal | None, limits: tuple[Figure, ...]) -> Iterator[Finding]:
    """Without its length a glove can only be failed, by a current above every limit of its class."""
    yield Finding("LENGTH_NOT_STATED", {"field": "length_mm"})
    highest = max((figure.value for figure in limits), default=None)  # type: ignore[type-var]
    if highest is not None and _usable(current) and current > highest:  # type: ignore[operator]
        yield Finding("CURRENT_ABOVE_EVERY_LIMIT", {"leakage_ma": current, "limit_ma": highest})


def _resistance(
    reading: Reading, item: TestedItem, pack: RulePack
) -> tuple[list[Finding], Mapping[str, Decimal]]:
    """A jumper by its resistance at its temperature; supply, voltage and time say nothing about it."""
    resistance, temperature = reading.resistance_mohm, reading.cable_temp_c
    findings = list(_unusable("resistance_mohm", resistance))
    if resistance is not None and not findings and not resistance > 0:
        findings.append(Finding("ZERO_RESISTANCE"))
    if temperature is None:
        findings.append(Finding("READING_MISSING", {"field": "cable_temp_c"}))
    elif not isinstance(temperature, Decimal) or temperature_factor(temperature, pack) is None:
        findings.append(Finding("READING_ABSURD", {"field": "cable_temp_c", "value": str(temperature)}))
    findings += _cable(item, pack)
    if findings or resistance is None or temperature is None or item.cable_length_mm is None:
        return findings, {}
    check = check_jumper(
        resistance_mohm=resistance,
        cable_temp_c=temperature,
        cable_size=item.cable_size,
        length_mm=item.cable_length_mm,
        pack=pack,
    )
    if check is None:
        return [Finding("NO_RESISTANCE_LIMIT", {"cable_size": item.cable_size})], {}
    details = _arithmetic(check)
    return list(_way(reading, details, accepted=check.accepted)), details


def _way(reading: Reading, details: Mapping[str, Decimal], *, accepted: bool) -> Iterator[Finding]:
    """The limit is that of a copper cable under DC. An impedance within it has a resistance within it; above it the
    reactance, for which there is no figure, may be to blame."""
    if reading.material not in (None, "copper"):
        yield Finding("MATERIAL_WITHOUT_LIMIT", {"material": str(reading.material)})
    elif not accepted and reading.method == "ac_impedance":
        yield Finding("IMPEDANCE_ABOVE_LIMIT", details)
    elif not accepted:
        yield Finding("RESISTANCE_ABOVE_LIMIT", details)


def _arithmetic(check: JumperCheck) -> dict[str, Decimal]:
    return {
        "reading_mohm": check.reading_mohm,
        "corrected_mohm": check.corrected_mohm,
        "limit_20_mohm": check.limit_20_mohm,
        "limit_at_temperature_mohm": check.limit_at_temperature_mohm,
    }


def _cable(item: TestedItem, pack: RulePack) -> Iterator[Finding]:
    if item.cable_length_mm is None:
        yield Finding("LENGTH_NOT_STATED", {"field": "cable_length_mm"})
    if item.cable_size is None:
        yield Finding("CABLE_NOT_STATED")
    elif pack.r20_mohm_per_ft(item.cable_size) is None:
        yield Finding("NO_RESISTANCE_LIMIT", {"cable_size": item.cable_size})


def _usable(value: object) -> bool:
    """A finite number that is not negative; booleans and binary floats are no readings."""
    if isinstance(value, bool) or not isinstance(value, (int, Decimal)):
        return False
    return Decimal(value).is_finite() and value >= 0


def _unusable(name: str, value: object) -> Iterator[Finding]:
    if value is None:
        yield Finding("READING_MISSING", {"field": name})
    elif not _usable(value):
        yield Finding("READING_ABSURD", {"field": name, "value": str(value)})
