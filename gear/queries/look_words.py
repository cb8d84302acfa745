"""Words for where something was found, what is looked at on each kind, and the drawings with what is marked on them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear.rules import drawings, places_on

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
_LEGIBLE = gettext_lazy("Label and stamp can be read")

# At most six lines a kind. Common practice; for rubber goods 29 CFR 1910.137(c)(2)(ii) asks for the look itself.
CHECKLISTS: Mapping[str, tuple[str | Promise, ...]] = {
    "glove": (
        gettext_lazy("Inside and outside, filled with air: fingertips, crotches, thumb base, palm"),
        gettext_lazy("Rolled both ways; listened and felt for air"),
        gettext_lazy("Cuff and its bead"),
        _LEGIBLE,
        gettext_lazy("Left and right of one class and size"),
        gettext_lazy(
            "Protector dry, without holes or metal, shorter than the glove by what its class asks for"
        ),
    ),
    "sleeve": (
        gettext_lazy("Shoulder edge"),
        gettext_lazy("Bend of the elbow"),
        gettext_lazy("Strap holes and buttons"),
        gettext_lazy("Rolled, inside and outside"),
        _LEGIBLE,
    ),
    "blanket": (
        gettext_lazy("Flat on a clean table, both faces"),
        gettext_lazy("Rolled from corner to corner, both diagonals"),
        gettext_lazy("Eyelets not torn, edges without nicks"),
        gettext_lazy("Fold lines"),
        gettext_lazy("Its tube is clean"),
        _LEGIBLE,
    ),
    "line_hose": (
        gettext_lazy("Opened along the lip, the bore looked through"),
        gettext_lazy("Ends and connectors"),
        gettext_lazy("Hinge line"),
        gettext_lazy("Chalk from the sun on the top side"),
        gettext_lazy("Marks of corona or ozone where it sat on the conductor"),
        _LEGIBLE,
    ),
    "hood": (
        gettext_lazy("Spread just far enough to see inside: forced back, it splits"),
        gettext_lazy("Flanges"),
        gettext_lazy("Eye"),
        _LEGIBLE,
    ),
    "rigid_cover": (
        gettext_lazy("Wiped first; its wax is there"),
        gettext_lazy("Cracks, gouges, deep scratches"),
        gettext_lazy("Marks of tracking, burns of a flash"),
        gettext_lazy("Latch and lip whole, nothing missing, not warped"),
        gettext_lazy("Chalk from the sun"),
        gettext_lazy("Rating can be read"),
    ),
    "grounding_jumper": (
        gettext_lazy(
            "Clamp jaws open fully and close freely; threads and eye move; jaw faces bright and sharp"
        ),
        gettext_lazy("Ferrules tight, no green corrosion"),
        gettext_lazy("No broken strands, and the cable not necked at the ferrule"),
        gettext_lazy("Jacket without cuts, burns, swelling, kinks; no water or green under a clear one"),
        gettext_lazy("Length tag and marked expiry can be read"),
        gettext_lazy("Did it ever carry fault current?"),
    ),
    "live_line_tool": (
        gettext_lazy("Wiped clean; the gloss is there"),
        gettext_lazy("Tracking, dents"),
        gettext_lazy("Ferrules and rivets"),
        _LEGIBLE,
    ),
    "voltage_detector": (
        gettext_lazy("Its own test, its battery"),
        gettext_lazy("Proved on a live source"),
        gettext_lazy("Case not cracked"),
        _LEGIBLE,
    ),
    "protector": (
        gettext_lazy("Dry, without holes, no metal in it"),
        gettext_lazy("No oil or other contamination"),
        gettext_lazy("Seams whole"),
        gettext_lazy("Shorter than the glove by what the class asks for"),
    ),
}


@dataclass(frozen=True)
class DrawnPart:
    """One part as a page draws it: its number, its word, its path and spots, and whether it is marked."""

    number: int
    code: str
    word: str
    path: str
    spots: Sequence[tuple[int, int]]
    marked: bool

    @property
    def label(self) -> str:
        """The word with the number that stands on the drawing, once."""
        return self.word if str(self.number) in self.word else f"{self.number} {self.word}"


@dataclass(frozen=True)
class Drawn:
    """A drawing as a template needs it. `turn` is the SVG transform of a mirrored drawing, or empty."""

    kind: str
    width: int
    height: int
    turn: str
    outline: Sequence[str]
    captions: Sequence[tuple[int, int, str]]
    parts: Sequence[DrawnPart]
    words: str = ""


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
