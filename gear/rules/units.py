"""Units at the edge: millimetres and volts inside; feet, inches, metres and kilovolts where people read and type.

What was typed with the places shown here comes back unchanged: 10.50 ft is stored as 3200 mm and shown as 10.50 ft.
No binary floating point is used.
"""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction

MM_PER_INCH = Fraction(254, 10)
MM_PER_FOOT = Fraction(3048, 10)
MM_PER_METRE = Fraction(1000)
VOLTS_PER_KV = Fraction(1000)


def mm_from_feet(feet: Decimal) -> int:
    """The nearest whole millimetre. Raises ValueError for NaN and infinities."""
    return _nearest(_exact(feet) * MM_PER_FOOT)


def feet_from_mm(mm: int) -> Decimal:
    """Feet with two places."""
    return _shown(Fraction(mm) / MM_PER_FOOT, "0.01")


def mm_from_inches(inches: Decimal) -> int:
    """The nearest whole millimetre. Raises ValueError for NaN and infinities."""
    return _nearest(_exact(inches) * MM_PER_INCH)


def inches_from_mm(mm: int) -> Decimal:
    """Inches with one place."""
    return _shown(Fraction(mm) / MM_PER_INCH, "0.1")


def mm_from_metres(metres: Decimal) -> int:
    """Exact. Raises ValueError for a length finer than a millimetre, NaN and infinities."""
    return _whole(_exact(metres) * MM_PER_METRE, "a length finer than a millimetre")


def metres_from_mm(mm: int) -> Decimal:
    """Metres with three places, exact."""
    return _shown(Fraction(mm) / MM_PER_METRE, "0.001")


def volts_from_kv(kv: Decimal) -> int:
    """Exact. Raises ValueError for a voltage finer than a volt, NaN and infinities."""
    return _whole(_exact(kv) * VOLTS_PER_KV, "a voltage finer than a volt")


def kv_from_volts(volts: int) -> Decimal:
    """Kilovolts with up to three places and no idle zeros: 26500 V is 26.5 kV, 20000 V is 20 kV."""
    shown = _shown(Fraction(volts) / VOLTS_PER_KV, "0.001").normalize()
    return shown.quantize(Decimal(1)) if shown == shown.to_integral_value() else shown


def _exact(value: Decimal) -> Fraction:
    if not value.is_finite():
        raise ValueError(f"{value} is not a number that can be converted.")
    return Fraction(value)


def _nearest(value: Fraction) -> int:
    return round(value)


def _whole(value: Fraction, what: str) -> int:
    if value.denominator != 1:
        raise ValueError(f"{what} cannot be kept; give fewer decimal places.")
    return value.numerator


def _shown(value: Fraction, places: str) -> Decimal:
    step = Decimal(places)
    return (Decimal(round(value / Fraction(step))) * step).quantize(step, rounding=ROUND_HALF_EVEN)
