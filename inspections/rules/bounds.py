"""What a bench reading can possibly be. Beyond it the unit or the keying is wrong, and nothing is stored."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

# field: (least, most). V, s, mA, milliohm, degrees C. Common practice, no source: 1 A and 1 MV are beyond any bench
# for rubber goods, a day is beyond any proof test, and copper cable is tested in rooms and yards.
BOUNDS: Mapping[str, tuple[Decimal, Decimal]] = {
    "applied_v": (Decimal(0), Decimal(1_000_000)),
    "seconds": (Decimal(0), Decimal(86_400)),
    "leakage_ma": (Decimal(0), Decimal(1_000)),
    "resistance_mohm": (Decimal(0), Decimal(999_999)),
    "cable_temp_c": (Decimal(-60), Decimal(150)),
    "test_a": (Decimal(0), Decimal(1_000)),
}
# What the room was like, of a whole bench session: degrees C and per cent relative humidity.
ROOM_BOUNDS: Mapping[str, tuple[Decimal, Decimal]] = {
    "ambient_c": (Decimal(-60), Decimal(80)),
    "humidity_pct": (Decimal(0), Decimal(100)),
}
PURPOSES = ("first", "in_service", "after_repair", "suspect")
SUPPLIES = ("ac", "dc")
LOOKS = ("accept", "clean", "test", "reject")
LAB_RESULTS = ("accept", "reject")
# How the resistance of a jumper is read: directly by a DC meter, as the drop of a DC current, or as an AC impedance.
METHODS = ("dc_meter", "dc_drop", "ac_impedance")
MATERIALS = ("copper", "aluminum")
PLACES = 3


def is_possible(name: str, value: object) -> bool:
    """Whether a reading is a finite int or Decimal within its bounds, with at most three decimals.

    Never true for NaN, infinities, booleans and binary floats. Raises KeyError for a field without bounds.
    """
    if isinstance(value, bool) or not isinstance(value, (int, Decimal)):
        return False
    number = Decimal(value)
    if not number.is_finite():
        return False
    least, most = BOUNDS[name]
    return least <= number <= most and number == round(number, PLACES)
