"""Ratings: the grade of a jumper and of a set, and the class that a trade name such as "20 kV glove" means."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from gear.rules.packs import GRADES, HIGH_XR_GRADES, RulePack


@dataclass(frozen=True)
class Grade:
    """A grounding grade "1" to "7" or "1H" to "7H". `grade` is None where it cannot be said; `code` then says why."""

    grade: str | None
    code: str = ""
    values: Mapping[str, Any] = field(default_factory=dict)


def grade_of_jumper(
    *, cable_size: str | None, clamp_grade: str | None, ferrule_grade: str | None, pack: RulePack
) -> Grade:
    """The grade of the lowest component of cable, clamp and ferrule (ASTM F855, 43.1.6).

    A component that is not stated gives no grade: what is not known may be the lowest.
    """
    components = {"cable": pack.grade_of_cable(cable_size), "clamp": clamp_grade, "ferrule": ferrule_grade}
    if cable_size and components["cable"] is None:
        return Grade(None, "CABLE_NOT_TABULATED", {"cable_size": cable_size})
    for component, grade in components.items():
        if not grade:
            return Grade(None, "COMPONENT_NOT_STATED", {"component": component})
    if _high(clamp_grade) and _high(ferrule_grade):
        components["cable"] = f"{components['cable']}H"
    return _lowest(components.values())


def grade_of_set(members: Iterable[Grade | None]) -> Grade:
    """The lowest grade of the jumpers of a set; none where one member has none, or where there is no member."""
    grades = [member or Grade(None, "COMPONENT_NOT_STATED", {"component": "jumper"}) for member in members]
    if not grades:
        return Grade(None, "SET_EMPTY")
    for member in grades:
        if member.grade is None:
            return member
    return _lowest(member.grade for member in grades)


def class_for_trade_name(kind: str, kv: Decimal, pack: RulePack) -> str | None:
    """The class that people mean by a voltage: a "20 kV glove" is named by its proof test and is class 2.

    Proof voltage first, then maximum use ("36 kV" soft cover is class 4 by use), each only where it is exactly a
    tabulated value. None otherwise: "46 kV" rigid cover is tied to no class.
    """
    if not kv.is_finite():
        return None
    classes = pack.classes_of(kind)
    for cls in classes:
        if _is(pack.proof_v(kind, cls, "ac"), kv):
            return cls
    for cls in classes:
        if _is(pack.max_use_v(kind, cls), kv):
            return cls
    return None


def _is(figure: Any, kv: Decimal) -> bool:
    return figure is not None and figure.value == kv * 1000


def _high(grade: str | None) -> bool:
    return grade in HIGH_XR_GRADES


def _lowest(grades: Iterable[str | None]) -> Grade:
    """The lowest of grades of one series; symmetrical and high X/R grades do not compare."""
    found = list(grades)
    for series in (GRADES, HIGH_XR_GRADES):
        if all(grade in series for grade in found):
            return Grade(min(found, key=series.index))
    return Grade(None, "GRADES_DO_NOT_COMPARE", {"grades": sorted(str(grade) for grade in found)})
