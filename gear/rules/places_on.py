"""Where on a piece something was found: the parts of each kind, as a short code that an entry keeps for ever.

`outside:finger_3,palm` is two parts of a glove seen from outside; `square_5` one square of a blanket, its face not
said. The order of the parts is that of their numbers on the drawing (gear.rules.drawings). Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

_FINGERS = tuple(f"finger_{number}" for number in range(1, 6))  # 1 is the thumb
_SQUARES = tuple(f"square_{number}" for number in range(1, 10))  # 3 by 3, row by row from the marking

PARTS: Mapping[str, tuple[str, ...]] = {
    "glove": (*_FINGERS, "crotch", "palm", "cuff", "back"),
    "protector": (*_FINGERS, "crotch", "palm", "cuff", "back"),
    "sleeve": ("shoulder", "strap", "upper_arm", "elbow", "forearm", "wrist"),
    "blanket": _SQUARES,
    "line_hose": ("end", "mid", "lip", "bore"),
    "hood": ("crown", "flange", "eye", "lip"),
    "rigid_cover": ("end", "mid", "lip", "latch"),
    "grounding_jumper": ("clamp_a", "ferrule_a", "cable", "ferrule_b", "clamp_b"),
}
_IN_AND_OUT = ("outside", "inside")
SIDES: Mapping[str, tuple[str, ...]] = {
    **dict.fromkeys(("glove", "protector", "sleeve", "hood", "rigid_cover"), _IN_AND_OUT),
    "blanket": ("face_a", "face_b"),
}


def parts_of(kind: str | None) -> tuple[str, ...]:
    """The parts that a drawing of this kind names, by number; empty for a kind without a drawing."""
    return PARTS.get(kind or "", ())


def sides_of(kind: str | None) -> tuple[str, ...]:
    """What can be told apart on every part: outside and inside, face A and B; empty where there is no such thing."""
    return SIDES.get(kind or "", ())


def place(kind: str | None, parts: Iterable[str], *, side: str = "") -> str:
    """The code of a place, parts in the order of the drawing. Empty without parts: a side alone is no place.

    Raises ValueError for a part or a side that this kind does not have.
    """
    chosen = set(parts)
    if not chosen <= set(parts_of(kind)) or side and side not in sides_of(kind):
        raise ValueError(f"A {kind} has no such place.")
    named = ",".join(part for part in parts_of(kind) if part in chosen)
    return f"{side}:{named}" if named and side else named


def read(kind: str | None, code: str) -> tuple[str, tuple[str, ...]]:
    """(side, parts) of a code. Raises ValueError for what `place` would not have written."""
    side, colon, named = code.rpartition(":")
    parts = tuple(named.split(","))
    if colon and not side or place(kind, parts, side=side) != code or not code:
        raise ValueError(f"{code!r} is no place on a {kind}.")
    return side, parts
