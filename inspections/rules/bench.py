"""What the bench needs to know before a test: what to apply and for how long, and what the reading may be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from gear.rules.fold import ItemFacts
from gear.rules.packs import Figure, RulePack
from inspections.rules.acceptance import PROOF_TESTED_KINDS, TestedItem
from inspections.rules.bounds import PURPOSES, SUPPLIES
from inspections.rules.grounding import jumper_limit_mohm, shown

GROUND = "grounding_jumper"


@dataclass(frozen=True)
class BenchSheet:
    """The figures of one item on the bench. V, s, mm, mA, milliohm; what the pack does not say is left out.

    `supplies` are those that count for the kind, AC first; `reads` the readings that are asked for; `formula` stands
    for the source of a jumper's limit and `r20` for the cable in it, in milliohm per foot; `missing` are the names of
    what the record must state first, because without it no verdict is possible.
    """

    supplies: tuple[str, ...] = ()
    proof: Mapping[str, Figure] = field(default_factory=dict)
    water: Mapping[str, Figure] = field(default_factory=dict)
    seconds: Mapping[str, Figure] = field(default_factory=dict)
    reads: tuple[str, ...] = ()
    limit_ma: Figure | None = None
    limit_20_mohm: Decimal | None = None
    formula: Figure | None = None
    r20: Figure | None = None
    missing: tuple[str, ...] = ()


def sheet(item: TestedItem, pack: RulePack) -> BenchSheet:
    """The sheet of an item by a rule pack. A kind without electrical figures has an empty one."""
    if item.kind == GROUND:
        return _ground(item, pack)
    if item.kind not in PROOF_TESTED_KINDS:
        return BenchSheet()
    rule = pack.kind_rule(item.kind)
    supplies = SUPPLIES if rule and rule.dc_allowed else ("ac",)
    is_glove = item.kind == "glove"
    missing = ("class",) if item.cls is None else ()
    return BenchSheet(
        supplies,
        _found({one: pack.proof_v(item.kind, item.cls, one) for one in supplies}),
        _found({one: pack.water_mm(item.cls, one) for one in supplies}) if is_glove else {},
        _found({one: pack.seconds_required(one) for one in PURPOSES}),
        ("leakage_ma",) if is_glove else (),
        pack.glove_limit_ma(item.cls, item.length_mm) if is_glove else None,
        missing=missing + (("length_mm",) if is_glove and item.length_mm is None else ()),
    )


def _ground(item: TestedItem, pack: RulePack) -> BenchSheet:
    missing = [
        name
        for name, value in (("cable_size", item.cable_size), ("cable_length_m", item.cable_length_mm))
        if value is None
    ]
    limit = None
    if item.cable_length_mm is not None:
        reference = Decimal(pack.jumper_constant("reference_c").value)  # type: ignore[arg-type]
        limit = jumper_limit_mohm(
            cable_size=item.cable_size, length_mm=item.cable_length_mm, temperature_c=reference, pack=pack
        )
    return BenchSheet(
        reads=("resistance_mohm", "cable_temp_c"),
        limit_20_mohm=None if limit is None else shown(limit),
        formula=pack.jumper_constant("fittings_mohm"),
        r20=pack.r20_mohm_per_ft(item.cable_size),
        missing=tuple(missing),
    )


def likely_purpose(facts: ItemFacts) -> str:
    """What a test of this item is most probably for: one of bounds.PURPOSES."""
    if facts.out_for_repair:
        return "after_repair"
    if facts.voided:
        return "suspect"
    return "in_service" if facts.accepted or facts.issued else "first"


def _found(figures: Mapping[str, Figure | None]) -> dict[str, Figure]:
    return {name: figure for name, figure in figures.items() if figure is not None}
