"""What an item is rated for: maximum use voltage, or the grade of a grounding jumper and of its set."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from gear.rules.fold import ItemFacts
from gear.rules.packs import Figure, RulePack
from gear.rules.ratings import Grade, grade_of_jumper, grade_of_set

CYCLES = (15, 30)


@dataclass(frozen=True)
class Rating:
    """`max_use` in V with its source, for rigid cover `to_ground` beside it.

    A jumper has its grade, its set's grade, and the withstand in kA by cycles of 60 Hz: that of the set where there
    is one, for the weakest piece carries the same current.
    """

    max_use: Figure | None = None
    to_ground: Figure | None = None
    grade: Grade | None = None
    set_grade: Grade | None = None
    withstand_ka: tuple[tuple[int, Figure], ...] = ()


def rating_of(facts: ItemFacts, mates: Sequence[ItemFacts], pack: RulePack | None) -> Rating | None:
    """The rating of an item among the other pieces of its set; None without a pack or a kind."""
    if pack is None or facts.kind is None:
        return None
    if facts.kind != "grounding_jumper":
        return Rating(pack.max_use_v(facts.kind, facts.cls), pack.use_to_ground_v(facts.kind, facts.cls))
    own = _grade(facts, pack)
    whole = grade_of_set([own, *(_grade(mate, pack) for mate in mates)]) if facts.set_no else None
    decides = whole or own
    found = ((cycles, pack.withstand_ka(decides.grade, cycles)) for cycles in CYCLES)
    return Rating(None, None, own, whole, tuple((cycles, figure) for cycles, figure in found if figure))


def _grade(facts: ItemFacts, pack: RulePack) -> Grade:
    if facts.kind != "grounding_jumper":
        return Grade(None, "COMPONENT_NOT_STATED", {"component": "jumper"})
    stated = facts.identity
    return grade_of_jumper(
        cable_size=stated.get("cable_size"),
        clamp_grade=stated.get("clamp_grade"),
        ferrule_grade=stated.get("ferrule_grade"),
        pack=pack,
    )
