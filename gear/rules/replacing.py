"""The nearest equal of a piece that may not be used any more, among pieces that nobody has in their hands.

What is equal is what the job was planned with: kind, class, type, size and length, for a pair both hands; for grounds a
set of at least the grade, the length and the number of pieces. Common practice, no source. Nothing here makes a piece
good: a unit is offered for a day on which the one decision said `good` of each of its pieces, and is scanned again by
whoever takes it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from gear.rules.packs import GRADES, HIGH_XR_GRADES, RulePack
from gear.rules.pairs import Pair, days_once_issued
from gear.rules.ratings import grade_of_jumper, grade_of_set
from gear.rules.readiness import HANDED, Rules

LYING = frozenset({"shelf", "crew", "truck"})  # what lies there is in nobody's hands
EQUAL_BY = ("kind", "class", "type", "size", "length_mm", "rated_kv")
MOST = 3  # as many as one screen names


def likeness(identity: Mapping[str, Any]) -> tuple:
    """What two units of other kinds than grounds have in common when one may stand in for the other."""
    return tuple(identity.get(name) or None for name in EQUAL_BY)


def is_offered(unit: Pair) -> bool:
    """Whether a unit lies where it may be taken from, all of it, good today, and a pair with both hands."""
    if not (unit.good and unit.together and unit.whole and unit.holder.get("kind") in LYING):
        return False
    return unit.both_hands if unit.identity.get("kind") in HANDED else True


def once_issued(unit: Pair, rules: Rules) -> Pair | None:
    """The unit with the last day that it gives once it is taken into use today; None where it would be out of date.

    A first issue starts another clock than that of the shelf.
    """
    days = days_once_issued(unit.pieces, rules, on=unit.as_of)
    if days is None:
        return unit
    return replace(unit, gives=unit.as_of + timedelta(days=days)) if days >= 0 else None


def stands_in(offer: Pair, wanted: Pair, *, pack: RulePack | None) -> bool:
    """Whether `offer` can do what `wanted` was taken for. A ground of which something is not stated stands in for none.

    Grades of the symmetrical and of the high X/R series do not compare.
    """
    if set(_numbers(offer)) & set(_numbers(wanted)):
        return False
    if wanted.identity.get("kind") != "grounding_jumper":
        return likeness(offer.identity) == likeness(wanted.identity)
    if offer.identity.get("kind") != "grounding_jumper" or len(offer.pieces) < len(wanted.pieces):
        return False
    least, has = _grade(wanted, pack), _grade(offer, pack)
    reach, reaches = _length(wanted), _length(offer)
    if least is None or has is None or reach is None or reaches is None:
        return False
    return has[0] == least[0] and has[1] >= least[1] and reaches >= reach


def nearness(place: Mapping[str, Any], here: Mapping[str, Any]) -> int:
    """0 on the same truck or in the same crew, 1 in the same depot, 2 elsewhere."""
    same = (place.get("kind"), place.get("name")) == (here.get("kind"), here.get("name"))
    if same or here.get("crew") and place.get("crew") == here.get("crew"):
        return 0
    return 1 if here.get("depot") and place.get("depot") == here.get("depot") else 2


def nearest(
    wanted: Pair,
    offers: Iterable[Pair],
    *,
    here: Mapping[str, Any],
    pack: RulePack | None,
    most: int = MOST,
) -> list[Pair]:
    """The units that may stand in, the nearest first; of those the one least above need, then the first to expire.

    `here` is the holder of what is replaced, as it was when it failed.
    """
    fits = [one for one in offers if is_offered(one) and stands_in(one, wanted, pack=pack)]
    return sorted(
        fits,
        key=lambda one: (
            nearness(one.holder, here),
            (_grade(one, pack) or ("", 0))[1],
            _length(one) or 0,
            len(one.pieces),
            one.gives or one.good_through or date.max,
            one.name,
        ),
    )[:most]


def _grade(unit: Pair, pack: RulePack | None) -> tuple[str, int] | None:
    """(series, place in it) of the lowest grade of a unit; None where it cannot be said."""
    if pack is None:
        return None
    found = grade_of_set(
        grade_of_jumper(
            cable_size=one.identity.get("cable_size"),
            clamp_grade=one.identity.get("clamp_grade"),
            ferrule_grade=one.identity.get("ferrule_grade"),
            pack=pack,
        )
        for one in unit.pieces
    ).grade
    for name, series in (("symmetrical", GRADES), ("high", HIGH_XR_GRADES)):
        if found in series:
            return name, series.index(found)
    return None


def _length(unit: Pair) -> Decimal | None:
    """Metres of the shortest cable of a unit; None where one is not stated."""
    try:
        return min(Decimal(str(one.identity["cable_length_m"])) for one in unit.pieces)
    except (KeyError, ArithmeticError):
        return None


def _numbers(unit: Pair) -> list[str]:
    return [one.item_no for one in unit.pieces]
