"""Rule packs: named, versioned, sourced tables that decide. `load("us_federal")` gives one or refuses."""

from gear.rules.packs.figures import Figure, Interval, KindRule, PackRefused
from gear.rules.packs.in_force import RulesTable
from gear.rules.packs.loading import DEFAULT, known_packs, load, read_verified
from gear.rules.packs.rulepack import RulePack
from gear.rules.packs.schema import (
    BLOCK_CODES,
    CABLE_SIZES,
    CLASSES,
    GRADES,
    HIGH_XR_GRADES,
    KINDS,
    PURPOSES,
    RUBBER_KINDS,
    SUPPLIES,
    VOIDING_EVENTS,
)

__all__ = [
    "BLOCK_CODES",
    "CABLE_SIZES",
    "CLASSES",
    "DEFAULT",
    "GRADES",
    "HIGH_XR_GRADES",
    "KINDS",
    "PURPOSES",
    "RUBBER_KINDS",
    "SUPPLIES",
    "VOIDING_EVENTS",
    "Figure",
    "Interval",
    "KindRule",
    "PackRefused",
    "RulePack",
    "RulesTable",
    "known_packs",
    "load",
    "read_verified",
]
