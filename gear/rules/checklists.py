"""What is looked through on a piece before use and at the tool room: at most six lines a kind, as codes.

29 CFR 1910.137(c)(2)(ii) asks that rubber goods are looked at before each day's use and after any incident, and that
gloves get an air test as well. Which places are named is common practice, no source, unless a line says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

MOST = 6  # lines on one screen
REGULATION = "29 CFR 1910.137(c)(2)(ii)"
PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Line:
    """One line of a checklist: the code that an entry keeps, and what asks for it."""

    code: str
    source: str = PRACTICE


def _lines(*codes: str) -> tuple[Line, ...]:
    return tuple(Line(code) for code in codes)


CHECKLISTS: Mapping[str, tuple[Line, ...]] = {
    "glove": (
        Line("air_test", REGULATION),
        *_lines("hand_surface", "roll_and_cuff", "legible", "one_class_and_size", "protector_fit"),
    ),
    "sleeve": _lines("shoulder_edge", "elbow_bend", "straps", "rolled", "legible"),
    "blanket": _lines("both_faces", "diagonals", "eyelets_and_edges", "fold_lines", "tube_clean", "legible"),
    "line_hose": _lines(
        "lip_and_bore", "ends_and_connectors", "hinge_line", "sun_chalk_on_top", "corona_marks", "legible"
    ),
    "hood": _lines("seen_inside", "flanges", "eye", "legible"),
    "rigid_cover": _lines(
        "wiped_and_waxed",
        "cracks_and_gouges",
        "tracking_and_flash",
        "latch_and_lip",
        "sun_chalk",
        "rating_legible",
    ),
    "grounding_jumper": _lines(
        "clamps", "ferrules", "strands", "jacket", "tag_and_expiry", "never_carried_fault"
    ),
    "live_line_tool": _lines("wiped_and_glossy", "tracking_and_dents", "ferrules_and_rivets", "legible"),
    "voltage_detector": _lines("own_test_and_battery", "proved_live", "case_whole", "legible"),
    "protector": _lines("dry_no_metal", "no_oil", "seams", "shorter_than_glove"),
}


def lines_of(kind: str | None) -> tuple[Line, ...]:
    """The lines of a kind in their order; empty for an unknown kind."""
    return CHECKLISTS.get(kind or "", ())
