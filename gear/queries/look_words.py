"""Words for where something was found, what is looked at on each kind, and the drawings with what is marked on them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear.rules import checklists, drawings, places_on

Words = Mapping[str, "str | Promise"]

PARTS: Words = {
    "finger_1": gettext_lazy("finger 1, the thumb"),
    "finger_2": gettext_lazy("finger 2"),
    "finger_3": gettext_lazy("finger 3"),
    "finger_4": gettext_lazy("finger 4"),
    "finger_5": gettext_lazy("finger 5, the little one"),
    "crotch": gettext_lazy("crotch between the fingers"),
    "palm": gettext_lazy("palm"),
    "cuff": gettext_lazy("cuff"),
    "back": gettext_lazy("back of the hand"),
    "shoulder": gettext_lazy("shoulder edge"),
    "strap": gettext_lazy("strap or button holes"),
    "upper_arm": gettext_lazy("upper arm"),
    "elbow": gettext_lazy("elbow"),
    "forearm": gettext_lazy("forearm"),
    "wrist": gettext_lazy("wrist edge"),
    "square_1": gettext_lazy("square 1, at the marking"),
    "square_2": gettext_lazy("square 2"),
    "square_3": gettext_lazy("square 3"),
    "square_4": gettext_lazy("square 4"),
    "square_5": gettext_lazy("square 5, the middle"),
    "square_6": gettext_lazy("square 6"),
    "square_7": gettext_lazy("square 7"),
    "square_8": gettext_lazy("square 8"),
    "square_9": gettext_lazy("square 9"),
    "end": gettext_lazy("end"),
    "mid": gettext_lazy("middle"),
    "lip": gettext_lazy("lip"),
    "bore": gettext_lazy("bore"),
    "crown": gettext_lazy("crown"),
    "flange": gettext_lazy("flange"),
    "eye": gettext_lazy("eye"),
    "latch": gettext_lazy("latch"),
    "clamp_a": gettext_lazy("clamp A"),
    "ferrule_a": gettext_lazy("ferrule A"),
    "cable": gettext_lazy("cable"),
    "ferrule_b": gettext_lazy("ferrule B"),
    "clamp_b": gettext_lazy("clamp B"),
}
SIDES: Words = {
    "outside": gettext_lazy("outside"),
    "inside": gettext_lazy("inside"),
    "face_a": gettext_lazy("face A, with the marking"),
    "face_b": gettext_lazy("face B, the other one"),
}
CAPTIONS: Words = {
    "palm_side": gettext_lazy("palm side"),
    "back_side": gettext_lazy("back"),
    "marking": gettext_lazy("marking"),
    "end_a": gettext_lazy("A"),
    "end_b": gettext_lazy("B"),
}
# The lines of gear.rules.checklists.
CHECKS: Words = {
    "air_test": gettext_lazy("Air test: filled with air, listened and felt for leaks"),
    "hand_surface": gettext_lazy(
        "Inside and outside, filled with air: fingertips, crotches, thumb base, palm"
    ),
    "roll_and_cuff": gettext_lazy("Rolled both ways; cuff and its bead"),
    "legible": gettext_lazy("Label and stamp can be read"),
    "one_class_and_size": gettext_lazy("Left and right of one class and size"),
    "protector_fit": gettext_lazy(
        "Protector dry, without holes or metal, shorter than the glove by what its class asks for"
    ),
    "shoulder_edge": gettext_lazy("Shoulder edge"),
    "elbow_bend": gettext_lazy("Bend of the elbow"),
    "straps": gettext_lazy("Strap holes and buttons"),
    "rolled": gettext_lazy("Rolled, inside and outside"),
    "both_faces": gettext_lazy("Flat on a clean table, both faces"),
    "diagonals": gettext_lazy("Rolled from corner to corner, both diagonals"),
    "eyelets_and_edges": gettext_lazy("Eyelets not torn, edges without nicks"),
    "fold_lines": gettext_lazy("Fold lines"),
    "tube_clean": gettext_lazy("Its tube is clean"),
    "lip_and_bore": gettext_lazy("Opened along the lip, the bore looked through"),
    "ends_and_connectors": gettext_lazy("Ends and connectors"),
    "hinge_line": gettext_lazy("Hinge line"),
    "sun_chalk_on_top": gettext_lazy("Chalk from the sun on the top side"),
    "corona_marks": gettext_lazy("Marks of corona or ozone where it sat on the conductor"),
    "seen_inside": gettext_lazy("Spread just far enough to see inside: forced back, it splits"),
    "flanges": gettext_lazy("Flanges"),
    "eye": gettext_lazy("Eye"),
    "wiped_and_waxed": gettext_lazy("Wiped first; its wax is there"),
    "cracks_and_gouges": gettext_lazy("Cracks, gouges, deep scratches"),
    "tracking_and_flash": gettext_lazy("Marks of tracking, burns of a flash"),
    "latch_and_lip": gettext_lazy("Latch and lip whole, nothing missing, not warped"),
    "sun_chalk": gettext_lazy("Chalk from the sun"),
    "rating_legible": gettext_lazy("Rating can be read"),
    "clamps": gettext_lazy(
        "Clamp jaws open fully and close freely; threads and eye move; jaw faces bright and sharp"
    ),
    "ferrules": gettext_lazy("Ferrules tight, no green corrosion"),
    "strands": gettext_lazy("No broken strands, and the cable not necked at the ferrule"),
    "jacket": gettext_lazy(
        "Jacket without cuts, burns, swelling, kinks; no water or green under a clear one"
    ),
    "tag_and_expiry": gettext_lazy("Length tag and marked expiry can be read"),
    "never_carried_fault": gettext_lazy("Did it ever carry fault current?"),
    "wiped_and_glossy": gettext_lazy("Wiped clean; the gloss is there"),
    "tracking_and_dents": gettext_lazy("Tracking, dents"),
    "ferrules_and_rivets": gettext_lazy("Ferrules and rivets"),
    "own_test_and_battery": gettext_lazy("Its own test, its battery"),
    "proved_live": gettext_lazy("Proved on a live source"),
    "case_whole": gettext_lazy("Case not cracked"),
    "dry_no_metal": gettext_lazy("Dry, without holes, no metal in it"),
    "no_oil": gettext_lazy("No oil or other contamination"),
    "seams": gettext_lazy("Seams whole"),
    "shorter_than_glove": gettext_lazy("Shorter than the glove by what the class asks for"),
}


def checklist_of(kind: str | None) -> list[str]:
    """The lines of a kind in words, in their order; empty for an unknown kind."""
    return [str(CHECKS[line.code]) for line in checklists.lines_of(kind)]


@dataclass(frozen=True)
class DrawnPart:
    """One part as a page draws it: its number, its word, its path and spots, and whether it is marked.

    A `figure` stands in the place of the number, and `shade` (0 to 4) is how dark the part is drawn with it.
    """

    number: int
    code: str
    word: str
    path: str
    spots: Sequence[tuple[int, int]]
    marked: bool
    figure: int | None = None
    shade: int = 0

    @property
    def label(self) -> str:
        """The word with the number that stands on the drawing, once."""
        return self.word if str(self.number) in self.word else f"{self.number} {self.word}"


@dataclass(frozen=True)
class Drawn:
    """A drawing as a template needs it. `turn` is the SVG transform of a mirrored drawing, or empty.

    `label` says in words what is drawn, where it is more than what is marked.
    """

    kind: str
    width: int
    height: int
    turn: str
    outline: Sequence[str]
    captions: Sequence[tuple[int, int, str]]
    parts: Sequence[DrawnPart]
    words: str = ""
    label: str = ""


def place_words(code: str) -> str:
    """`finger 3, palm (outside)`; what is no place is given as it stands."""
    side, _colon, named = code.rpartition(":")
    parts = named.split(",")
    if not all(part in PARTS for part in parts) or side and side not in SIDES:
        return code
    told = ", ".join(str(PARTS[part]) for part in parts)
    return _("%(parts)s (%(side)s)") % {"parts": told, "side": SIDES[side]} if side else told


def drawn(kind: str | None, *, hand: str | None = None, place: str = "") -> Drawn | None:
    """The drawing of a kind with a place marked on it; None for a kind without one."""
    drawing = drawings.drawing_of(kind, hand=hand)
    if drawing is None:
        return None
    try:
        marked: Sequence[str] = places_on.read(kind, place)[1] if place else ()
    except ValueError:
        marked = ()
    return Drawn(
        drawing.kind,
        drawing.width,
        drawing.height,
        f"translate({drawing.width} 0) scale(-1 1)" if drawing.mirrored else "",
        drawing.outline,
        [(x, y, str(CAPTIONS[code])) for x, y, code in drawing.captions],
        [
            DrawnPart(number, part.code, str(PARTS[part.code]), part.path, part.spots, part.code in marked)
            for number, part in enumerate(drawing.parts, 1)
        ],
        place_words(place) if place else "",
    )


def marked_on(facts: Any, identity: Mapping[str, Any]) -> Drawn | None:
    """The drawing for what an entry says, where it says a place of this kind of piece; None otherwise."""
    place = facts.get("place") if isinstance(facts, Mapping) else None
    if not isinstance(place, str) or not place:
        return None
    shown = drawn(identity.get("kind"), hand=identity.get("hand"), place=place)
    return shown if shown and any(part.marked for part in shown.parts) else None
