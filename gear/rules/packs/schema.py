"""What a complete rule pack holds: its tables, the columns of each, and the keys that must be there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from itertools import product

from gear.rules.packs.figures import STATUSES, UNITS

CLASSES = ("00", "0", "1", "2", "3", "4")
RIGID_COVER_CLASSES = ("2", "3", "4", "5", "6")
RUBBER_KINDS = ("glove", "sleeve", "blanket", "line_hose", "hood")
KINDS = (
    *RUBBER_KINDS,
    "rigid_cover",
    "grounding_jumper",
    "live_line_tool",
    "voltage_detector",
    "protector",
)
SUPPLIES = ("ac", "dc")
PURPOSES = ("first", "in_service", "after_repair", "suspect")
VOIDING_EVENTS = (
    "suspect",
    "repaired",
    "used_without_protectors",
    "flash_or_contact",
    "carried_fault_current",
    "dropped",
)
LENGTH_COLUMNS_MM = (280, 360, 410, 460)
CABLE_SIZES = ("#2", "1/0", "2/0", "3/0", "4/0", "250 kcmil", "350 kcmil")
GRADES = ("1", "2", "3", "4", "5", "6", "7")
HIGH_XR_GRADES = ("1H", "2H", "3H", "4H", "5H", "6H", "7H")
DEFECTS = ("A", "B", "C", "D", "E")
JUMPER_CONSTANTS = ("cable_factor", "fittings_mohm", "alpha_per_c", "reference_c")
BLOCK_CODES = (
    "DESTROYED",
    "REJECTED",
    "NOT_IN_BOOK",
    "LABEL_UNREADABLE",
    "LABEL_REPLACED",
    "HELD",
    "LOST",
    "FAILED_TEST",
    "DAMAGED",
    "NEEDS_TEST",
    "OUT_FOR_TEST",
    "OUT_FOR_REPAIR",
    "NEVER_TESTED",
    "OUT_OF_DATE",
    "SHELF_LIMIT",
    "SET_NOT_COMPLETE",
    "NEEDS_CLEANING",
    "PACK_REFUSED",
    "CHAIN_BROKEN",
    "UNKNOWN_KIND",
    "NO_RULE_FOR_KIND",
    "TEST_NOT_JUDGED",
    "JUDGED_AS_OTHER",
    "RECORD_UNREADABLE",
    "NOT_YET_RECEIVED",
    "CLOCK_BEHIND",
    "DUE_SOON",
    "NOT_INSPECTED",
    "NOT_INSPECTED_TODAY",
    "OTHER_HOLDER",
)

Check = Callable[[object], bool]


def is_text(value: object) -> bool:
    return isinstance(value, str) and value.strip() != ""


def is_flag(value: object) -> bool:
    return isinstance(value, bool)


def is_true(value: object) -> bool:
    return value is True


def is_count(value: object) -> bool:
    """A whole number above zero; true and false are no numbers."""
    return isinstance(value, int) and not isinstance(value, bool) and value > 0


def is_amount(value: object) -> bool:
    """A finite number above zero, whole or decimal."""
    return is_count(value) or (isinstance(value, Decimal) and value.is_finite() and value > 0)


def is_interval(value: object) -> bool:
    return (
        isinstance(value, dict)
        and set(value) == {"count", "unit"}
        and is_count(value["count"])
        and value["unit"] in UNITS
    )


def one_of(allowed: tuple[str, ...]) -> Check:
    return lambda value: isinstance(value, str) and value in allowed


def list_of(allowed: tuple[str, ...]) -> Check:
    """A list without repeats whose members are all among `allowed`."""
    return lambda value: (
        isinstance(value, list)
        and all(isinstance(member, str) and member in allowed for member in value)
        and len(set(value)) == len(value)
    )


@dataclass(frozen=True)
class TableSpec:
    """One table: key columns, the check of each column, keys that must exist, pairs of which one is given."""

    key: tuple[str, ...]
    columns: dict[str, Check]
    required: tuple[tuple[object, ...], ...] = ()
    either: tuple[tuple[str, str], ...] = ()


ROW_COLUMNS: dict[str, Check] = {"source": is_text, "clause": is_text, "status": one_of(STATUSES)}


def _keys(*values: tuple[object, ...]) -> tuple[tuple[object, ...], ...]:
    return tuple(product(*values))


def _by_class(column: str, check: Check) -> TableSpec:
    return TableSpec(("class",), {"class": one_of(CLASSES), column: check}, _keys(CLASSES))


TABLES: dict[str, TableSpec] = {
    "ac_proof": _by_class("volts", is_count),
    "dc_proof": _by_class("volts", is_count),
    "max_use_ac": _by_class("volts", is_count),
    "max_use_dc": _by_class("volts", is_count),
    "retest_ac": _by_class("volts", is_count),
    "retest_dc": _by_class("volts", is_count),
    "colour": _by_class("colour", is_text),
    "glove_length": TableSpec(
        ("column_mm",),
        {"column_mm": is_count, "from_mm": is_count, "inches": is_text},
        _keys(LENGTH_COLUMNS_MM),
    ),
    "glove_current": TableSpec(
        ("class", "length_mm"),
        {"class": one_of(CLASSES), "length_mm": is_count, "milliamperes": is_amount, "no_value": is_true},
        _keys(CLASSES, LENGTH_COLUMNS_MM),
        (("milliamperes", "no_value"),),
    ),
    "water_level": TableSpec(
        ("class", "supply"),
        {"class": one_of(CLASSES), "supply": one_of(SUPPLIES), "mm": is_count},
        _keys(CLASSES, SUPPLIES),
    ),
    "duration": TableSpec(("purpose",), {"purpose": one_of(PURPOSES), "seconds": is_count}, _keys(PURPOSES)),
    "kind": TableSpec(
        ("kind",),
        {
            "kind": one_of(KINDS),
            "classes": list_of(CLASSES + RIGID_COVER_CLASSES),
            "interval": is_interval,
            "no_clock": is_true,
            "shelf_limit": is_interval,
            "no_shelf_limit": is_true,
            "test_required": is_flag,
            "dc_allowed": is_flag,
            "voiding_events": list_of(VOIDING_EVENTS),
            "repair_allowed": is_flag,
            "repair": is_text,
        },
        _keys(KINDS),
        (("interval", "no_clock"), ("shelf_limit", "no_shelf_limit")),
    ),
    "voiding_event": TableSpec(
        ("event",), {"event": one_of(VOIDING_EVENTS), "words": is_text}, _keys(VOIDING_EVENTS)
    ),
    "method": TableSpec(("kind",), {"kind": one_of(KINDS), "standard": is_text}, _keys(RUBBER_KINDS)),
    "defect": TableSpec(("code",), {"code": one_of(DEFECTS), "words": is_text}, _keys(DEFECTS)),
    "marking": TableSpec(
        ("mark",),
        {"mark": is_text, "words": is_text, "required": is_flag},
        _keys(("class", "type", "place")),
    ),
    "in_service": TableSpec(
        ("paragraph",),
        {"paragraph": is_text, "rule": is_text},
        _keys(("(i)", "(ii)", "(iii)", "(iv)", "(v)", "(viii)", "(x)", "(xi)", "(xii)")),
    ),
    "rigid_cover": TableSpec(
        ("class",),
        {
            "class": one_of(RIGID_COVER_CLASSES),
            "covered_phase_phase_v": is_count,
            "phase_ground_v": is_count,
            "proof_ac_v": is_count,
            "proof_dc_v": is_count,
            "minimum_seconds": is_count,
        },
        _keys(RIGID_COVER_CLASSES),
    ),
    "ground_grade": TableSpec(
        ("grade",),
        {
            "grade": one_of(GRADES),
            "cable": one_of(CABLE_SIZES),
            "parallel_cable": is_text,
            "withstand_15_ka": is_amount,
            "withstand_30_ka": is_amount,
            "ultimate_15_ka": is_amount,
            "ultimate_30_ka": is_amount,
            "ultimate_60_ka": is_amount,
            "largest_test_cable": is_text,
            "continuous_a": is_count,
        },
        _keys(GRADES),
    ),
    "ground_grade_high_xr": TableSpec(
        ("grade",),
        {
            "grade": one_of(HIGH_XR_GRADES),
            "cable": one_of(CABLE_SIZES),
            "rated_ka": is_amount,
            "first_peak_ka": is_amount,
            "last_peak_ka": is_amount,
            "cycles": is_count,
        },
        _keys(HIGH_XR_GRADES),
    ),
    "parallel": TableSpec(
        ("rule",), {"rule": is_text, "words": is_text, "factor": is_amount}, _keys(("derate", "tabulated"))
    ),
    "copper_r20": TableSpec(
        ("cable_size",),
        {"cable_size": one_of(CABLE_SIZES), "mohm_per_ft": is_amount, "no_value": is_true},
        _keys(CABLE_SIZES),
        (("mohm_per_ft", "no_value"),),
    ),
    "jumper_limit": TableSpec(
        ("constant",),
        {"constant": one_of(JUMPER_CONSTANTS), "value": is_amount, "words": is_text},
        _keys(JUMPER_CONSTANTS),
    ),
    "protector_gap": TableSpec(
        ("class",),
        {"class": one_of(CLASSES), "mm": is_count, "handbook_mm": is_count, "no_handbook_value": is_true},
        _keys(CLASSES),
        (("handbook_mm", "no_handbook_value"),),
    ),
    "block": TableSpec(("code",), {"code": one_of(BLOCK_CODES)}, _keys(BLOCK_CODES)),
}
