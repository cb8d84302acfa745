"""Which particulars the record of a piece needs, kind by kind, and what its record lacks.

For a verdict: the figures that a test or a set is judged by hang on it. For a rating: what the piece may be used on
hangs on it. For a trace: whoever asks which pieces a recall or a bad meter concerns finds it by that. For finding it:
whoever needs a piece of a size asks for it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from gear.rules.fold import ItemFacts
from gear.rules.packs import RUBBER_KINDS

VERDICT, RATING, TRACE, FINDING = "verdict", "rating", "trace", "finding"
NEEDS = (VERDICT, RATING, TRACE, FINDING)  # the gravest first


@dataclass(frozen=True)
class Particular:
    """One thing that a record may lack. `field` is a field of the identity; empty where it is something else."""

    code: str
    need: str
    kinds: tuple[str, ...] = ()  # all where empty
    field: str = ""


_CLASSED = (*RUBBER_KINDS, "rigid_cover")
_HANDED = ("glove", "sleeve")
_JUMPER = ("grounding_jumper",)

# The limits of 29 CFR 1910.137 Tables I-1 to I-4 go by class and length, that of a jumper by cable size and length
# (third-party summary of ASTM F2249), its grade by its lowest component (ASTM F855). What a recall names, and by what
# pairs are asked for, is common practice without a source.
PARTICULARS: tuple[Particular, ...] = (
    Particular("CLASS", VERDICT, _CLASSED, "class"),
    Particular("LENGTH", VERDICT, ("glove",), "length_mm"),
    Particular("HAND", VERDICT, _HANDED, "hand"),
    Particular("CABLE_SIZE", VERDICT, _JUMPER, "cable_size"),
    Particular("CABLE_LENGTH", VERDICT, _JUMPER, "cable_length_m"),
    Particular("FIRST_ISSUE", VERDICT),
    Particular("CLAMP_GRADE", RATING, _JUMPER, "clamp_grade"),
    Particular("FERRULE_GRADE", RATING, _JUMPER, "ferrule_grade"),
    Particular("SERIAL", TRACE, field="serial"),
    Particular("MAKER", TRACE, field="maker"),
    Particular("MODEL", TRACE, field="model"),
    Particular("LOT", TRACE, field="lot"),
    Particular("MADE_ON", TRACE, field="made_on"),
    Particular("INSTRUMENT", TRACE),
    Particular("INSTRUMENT_NOT_ON_FILE", TRACE),
    Particular("SIZE", FINDING, ("glove",), "size"),
)
BY_CODE: Mapping[str, Particular] = {one.code: one for one in PARTICULARS}


def asked_of(kind: str | None) -> tuple[Particular, ...]:
    """What the record of a piece of this kind should state, the gravest first; of an unknown kind, what all need."""
    return tuple(one for one in PARTICULARS if not one.kinds or kind in one.kinds)


def lacking(
    facts: ItemFacts, *, without_instrument: Iterable[str] = (), not_on_file: Iterable[str] = ()
) -> list[str]:
    """The codes of what the record of a piece lacks, the gravest first. Nothing of a destroyed piece: it is over.

    `without_instrument` and `not_on_file` are entries of tests that name neither instrument nor lab, or one that the
    register does not know; only the test that dates the piece counts.
    """
    if facts.destroyed:
        return []
    test = facts.accepted.entry if facts.accepted else None
    more = {
        "FIRST_ISSUE": _first_issue_matters(facts),
        "INSTRUMENT": test is not None and test in without_instrument,
        "INSTRUMENT_NOT_ON_FILE": test is not None and test in not_on_file,
    }
    return [
        one.code
        for one in asked_of(facts.kind)
        if (more[one.code] if not one.field else _is_blank(facts.identity, one.field))
    ]


def _first_issue_matters(facts: ItemFacts) -> bool:
    """Whether a piece is in use since nobody knows when: then no first service period is counted for it."""
    return facts.usable and facts.issued and not facts.first_issue_known


def _is_blank(identity: Mapping[str, Any], field: str) -> bool:
    return identity.get(field) in (None, "")
