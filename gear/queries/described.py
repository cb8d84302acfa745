"""What an item is, in words: the same on the answer page, the item page, the label and in lists."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from gear import wording
from gear.models import KIND_NAMES
from gear.rules import units
from gear.rules.packs import Figure
from gear.rules.pairs import Pair

Identity = Mapping[str, Any]


def kind_word(kind: str | None) -> str:
    """`Line hose`; an unknown kind is given as it stands, none as "Item"."""
    return str(KIND_NAMES.get(kind or "", kind or _("Item")))


def class_word(cls: str | None) -> str:
    """`Class 2`, or nothing."""
    return _("Class %s") % cls if cls else ""


def hand_word(hand: str | None) -> str:
    """`left` or `right`, or nothing."""
    return str(wording.HANDS.get(hand or "", ""))


def heading(identity: Identity) -> str:
    """`Glove, class 2, left, size 10`: enough to tell two pieces on one bench apart."""
    parts = [
        kind_word(identity.get("kind")),
        class_word(identity.get("class")).lower(),
        hand_word(identity.get("hand")),
        size_word(identity),
    ]
    return ", ".join(part for part in parts if part)


def pair_heading(pair: Pair) -> str:
    """`Pair of gloves, class 2, size 10, type II, black, 360 mm (14.2 in)`, or the one piece that there is."""
    identity = pair.identity
    if len(pair.pieces) == 1:
        return heading(identity)
    words = (
        {"glove": _("Pair of gloves"), "sleeve": _("Pair of sleeves")}.get(str(identity.get("kind")), ""),
        class_word(identity.get("class")).lower(),
        size_word(identity),
        _("type %s") % identity["type"] if identity.get("type") else "",
        str(identity.get("colour") or ""),
        length(identity.get("length_mm")),
    )
    return ", ".join(word for word in words if word)


def size_word(identity: Identity) -> str:
    """`size 10`, for a jumper `2/0, 3 m (9.84 ft)`, or nothing."""
    if identity.get("cable_size") or identity.get("cable_length_m"):
        both = (identity.get("cable_size"), cable_length(identity.get("cable_length_m")))
        return ", ".join(str(part) for part in both if part)
    return _("size %s") % identity["size"] if identity.get("size") else ""


def length(mm: Any) -> str:
    """`360 mm (14.2 in)`; what is no whole number is given as it stands."""
    if mm in (None, ""):
        return ""
    if isinstance(mm, bool) or not isinstance(mm, int):
        return str(mm)
    return _("%(mm)s mm (%(inches)s in)") % {"mm": mm, "inches": units.inches_from_mm(mm)}


def cable_length(metres: Any) -> str:
    """`3 m (9.84 ft)`; what cannot be converted is given as it stands."""
    if metres in (None, ""):
        return ""
    try:
        feet = units.feet_from_mm(units.mm_from_metres(Decimal(str(metres))))
    except (InvalidOperation, ValueError):
        return str(metres)
    return _("%(metres)s m (%(feet)s ft)") % {"metres": metres, "feet": feet}


def markings(identity: Identity) -> list[tuple[str, str]]:
    """(name, value) of whatever can be compared with the marks on the piece; what is not stated is left out."""
    rows = (
        (_("Serial"), identity.get("serial")),
        (_("Kind"), kind_word(identity.get("kind"))),
        (_("Class"), identity.get("class")),
        (_("Hand"), hand_word(identity.get("hand"))),
        (_("Size"), identity.get("size")),
        (_("Length"), length(identity.get("length_mm"))),
        (_("Type"), identity.get("type")),
        (_("Colour"), identity.get("colour")),
        (_("Cable"), identity.get("cable_size")),
        (_("Cable length"), cable_length(identity.get("cable_length_m"))),
        (_("Clamp grade"), identity.get("clamp_grade")),
        (_("Ferrule grade"), identity.get("ferrule_grade")),
        (_("Maker"), identity.get("maker")),
        (_("Model"), identity.get("model")),
    )
    return [(name, str(value)) for name, value in rows if value not in (None, "")]


def volts(figure: Figure | None) -> str:
    """`17,000 V`: in volts, so that nobody takes it for the number that names a glove by its test. Nothing for None."""
    if figure is None or figure.value is None:
        return ""
    # A comma is a decimal sign in French: 36,000 V must not be read as 36.
    parted = f"{int(figure.value):,}".replace(",", pgettext("between thousands", ","))
    return _("%s V") % parted
