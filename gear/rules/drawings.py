"""Drawings of our own, as shapes: one for each kind whose places are told (gear.rules.places_on).

Each part is a closed path with the spot of its number; the outline is what lies behind them. All of it is schematic
and to no scale. Units are those of the drawing's own box.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from gear.rules.places_on import parts_of


@dataclass(frozen=True)
class Part:
    """One part: its code, its outline as an SVG path, and the spots (x, y) where its number stands."""

    code: str
    path: str
    spots: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Drawing:
    """`outline` are paths that are no part; `captions` are (x, y, code of a word). `mirrored` turns the shapes over.

    What is mirrored is drawn with its x counted from the right; spots and captions are given as they then stand.
    """

    kind: str
    width: int
    height: int
    parts: tuple[Part, ...]
    outline: tuple[str, ...] = ()
    captions: tuple[tuple[int, int, str], ...] = ()
    mirrored: bool = False


def _box(x: int, y: int, width: int, height: int) -> str:
    return f"M{x} {y}h{width}v{height}h-{width}z"


def _hand() -> Mapping[str, tuple]:
    """A left hand, its palm to the reader: the thumb is to the left. Beside it the same hand from the back."""
    return {
        "finger_1": ("M52 176 22 138q-12-20 4-28 14-6 24 10l22 36z", (35, 130)),
        "finger_2": ("M72 118V44q0-16 14-16t14 16v74z", (86, 76)),
        "finger_3": ("M103 118V26q0-16 14-16t14 16v92z", (117, 64)),
        "finger_4": ("M134 118V36q0-16 14-16t14 16v82z", (148, 70)),
        "finger_5": ("M165 122V66q0-15 13-15t13 15v60z", (178, 92)),
        "crotch": ("M72 121h90l3 4 24 4v16H74z", (131, 133)),
        "palm": ("M74 148h115v30q0 26-14 42H86q-12-26-32-41l18-18z", (126, 186)),
        "cuff": ("M84 223h92l8 84H76z", (130, 266)),
        "back": ("M259 148h115l2 16 20 15q-20 15-32 41h-89q-16-16-16-42z", (316, 186)),
    }


_BACK = (
    "M257 122V66q0-15 13-15t13 15v56zM286 118V36q0-16 14-16t14 16v82zM317 118V26q0-16 14-16t14 16v92z",
    "M348 118V44q0-16 14-16t14 16v74zM376 156l22-36q10-16 24-10 16 8 4 28l-30 38z",
    "M259 126l27-5h90v25H259z",
    "M272 223h92l8 84H264z",
)
_SLEEVE = {
    "shoulder": ("M14 40Q60 10 104 22L96 60Q60 50 34 84z", (60, 42)),
    "strap": ("M14 44 2 70q8 20 24 26l6-12z", (16, 68)),
    "upper_arm": ("M107 23l76 22-10 92-97-8q-20-10-40-43Q62 53 98 63z", (116, 92)),
    "elbow": ("M186 46l52 14-6 82-56-5z", (208, 98)),
    "forearm": ("M241 61l92 22-4 66-94-7z", (286, 112)),
    "wrist": ("M336 84l40 9-3 60-41-4z", (355, 124)),
}
_HOSE = {
    "end": ("M6 50h74v100H6z", (43, 100)),
    "mid": ("M83 50h262q-25 6-25 33t25 33H83z", (200, 83)),
    "lip": ("M83 119h288v31H83z", (227, 135)),
    "bore": ("M348 50q26 4 26 33t-26 33q-25-4-25-33t25-33z", (348, 83)),
}
_HOOD = {
    "crown": ("M100 148Q100 18 200 18t100 130z", (200, 58)),
    "flange": ("M14 104h83v44H14zM303 104h83v44h-83z", (56, 126), (344, 126)),
    "eye": ("M164 108a36 24 0 1 0 72 0 36 24 0 1 0-72 0z", (200, 108)),
    "lip": ("M14 151h372v36H14z", (200, 169)),
}
_COVER = {
    "end": ("M6 34h64v96H6zM330 34h64v96h-64z", (38, 82), (362, 82)),
    "mid": ("M73 34h254v64H73z", (200, 71)),
    "lip": ("M73 101h254v29H73z", (200, 121)),
    "latch": ("M176 133h48v40h-48z", (200, 158)),
}
_JUMPER = {
    "clamp_a": ("M10 40h22v34h22V40h22v62q0 16-16 16H26q-16 0-16-16z", (43, 102)),
    "ferrule_a": ("M34 121h18v48H34z", (43, 145)),
    "cable": ("M36 172h14q2 62 150 62t150-62h14q-2 78-164 78T36 172z", (200, 239)),
    "ferrule_b": ("M348 121h18v48h-18z", (357, 145)),
    "clamp_b": ("M324 40h22v34h22V40h22v62q0 16-16 16h-34q-16 0-16-16z", (357, 102)),
}
_SHAPES: Mapping[str, Mapping[str, tuple]] = {
    "glove": _hand(),
    "protector": _hand(),
    "sleeve": _SLEEVE,
    "blanket": {
        f"square_{3 * row + column + 1}": (
            _box(20 + 94 * column, 34 + 94 * row, 90, 90),
            (65 + 94 * column, 79 + 94 * row),
        )
        for row in range(3)
        for column in range(3)
    },
    "line_hose": _HOSE,
    "hood": _HOOD,
    "rigid_cover": _COVER,
    "grounding_jumper": _JUMPER,
}
_SIZES = {
    "glove": (450, 330),
    "protector": (450, 330),
    "sleeve": (384, 170),
    "blanket": (318, 332),
    "line_hose": (400, 170),
    "hood": (400, 200),
    "rigid_cover": (400, 184),
    "grounding_jumper": (400, 262),
}
_HAND_CAPTIONS = ((130, 325, "palm_side"), (318, 325, "back_side"))
_OUTLINES: Mapping[str, tuple[str, ...]] = {
    "glove": _BACK,
    "protector": _BACK,
    "blanket": (_box(12, 26, 294, 294),),
}
_CAPTIONS: Mapping[str, tuple[tuple[int, int, str], ...]] = {
    "glove": _HAND_CAPTIONS,
    "protector": _HAND_CAPTIONS,
    "blanket": ((50, 16, "marking"),),
    "grounding_jumper": ((43, 26, "end_a"), (357, 26, "end_b")),
}


def drawing_of(kind: str | None, *, hand: str | None = None) -> Drawing | None:
    """The drawing of a kind, parts in the order of their numbers; a right glove is the left one turned over.

    None for a kind that has none.
    """
    if kind is None or kind not in _SHAPES:
        return None
    shapes, (width, height) = _SHAPES[kind], _SIZES[kind]
    parts = tuple(Part(code, shapes[code][0], shapes[code][1:]) for code in parts_of(kind))
    drawn = Drawing(kind, width, height, parts, _OUTLINES.get(kind, ()), _CAPTIONS.get(kind, ()))
    return _turned_over(drawn) if hand == "R" and kind in ("glove", "protector") else drawn


def _turned_over(drawn: Drawing) -> Drawing:
    return replace(
        drawn,
        parts=tuple(
            replace(part, spots=tuple((drawn.width - x, y) for x, y in part.spots)) for part in drawn.parts
        ),
        captions=tuple((drawn.width - x, y, code) for x, y, code in drawn.captions),
        mirrored=True,
    )
