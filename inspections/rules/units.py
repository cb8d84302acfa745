"""The units in which labs write readings, each with what makes ours of it: V, s, mA, milliohm, degrees C, mm."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from fractions import Fraction

# column: {unit: what one of it is in ours}. Chosen for every column by a person, never guessed.
FACTORS: Mapping[str, Mapping[str, Fraction]] = {
    "applied_v": {"V": Fraction(1), "kV": Fraction(1000)},
    "seconds": {"s": Fraction(1), "min": Fraction(60)},
    "leakage_ma": {"mA": Fraction(1), "uA": Fraction(1, 1000), "A": Fraction(1000)},
    "resistance_mohm": {"milliohm": Fraction(1), "ohm": Fraction(1000), "microohm": Fraction(1, 1000)},
    "cable_temp_c": {"C": Fraction(1), "F": Fraction(5, 9)},
    "length": {"mm": Fraction(1), "cm": Fraction(10), "in": Fraction(254, 10)},
    "cable_length": {
        "mm": Fraction(1), "cm": Fraction(10), "m": Fraction(1000), "in": Fraction(254, 10), "ft": Fraction(3048, 10),
    },
}  # fmt: skip
_WHOLE = ("applied_v", "seconds")
_UP = ("leakage_ma", "resistance_mohm")  # what must stay below a limit is rounded up, everything else down
PLACES = Decimal("0.001")


def in_ours(column: str, number: Decimal, unit: str) -> Decimal:
    """A reading in our unit, exact where our unit holds it, else rounded so that it proves less and never more.

    Currents and resistances go up; voltages, seconds and temperatures of a cable (a warmer cable is allowed more) go
    down. Raises KeyError for a unit that is not in FACTORS.
    """
    exact = Fraction(number) * FACTORS[column][unit]
    if (column, unit) == ("cable_temp_c", "F"):
        exact -= Fraction(160, 9)
    places = 0 if column in _WHOLE else 3
    return _rounded(exact, places, ROUND_CEILING if column in _UP else ROUND_FLOOR)


def _rounded(exact: Fraction, places: int, how: str) -> Decimal:
    scaled = exact * 10**places
    down = scaled.numerator // scaled.denominator
    whole = down if how == ROUND_FLOOR or scaled == down else down + 1
    return Decimal(whole).scaleb(-places)


# A reading this many times too large or too small is another unit: units are 60 or 1000 apart, and sound readings of
# one class are not ten apart (common practice, no source).
APART = 30
MOSTLY = Fraction(4, 5)


def doubt(readings: Sequence[tuple[Decimal, Decimal]]) -> str:
    """`high` or `low` where a column as a whole is in another unit than was said, else nothing.

    `readings` are (value, what is usual for its class), in our unit. Zero says nothing about units.
    """
    known = [(value, usual) for value, usual in readings if value and usual]
    if not known:
        return ""
    high = sum(value >= usual * APART for value, usual in known)
    low = sum(value * APART <= usual for value, usual in known)
    for word, count in (("high", high), ("low", low)):
        if count == len(known) or (len(known) > 2 and Fraction(count, len(known)) >= MOSTLY):
            return word
    return ""


TEMPERATURES = (
    Decimal(0),
    Decimal(50),
)  # C: cables are tested in rooms and yards (common practice, no source)


def temperature_doubt(values: Sequence[Decimal]) -> str:
    """The same for temperatures, which have no usual one: every one of them is out of TEMPERATURES on one side."""
    least, most = TEMPERATURES
    if values and all(value > most for value in values):
        return "high"
    return "low" if values and all(value < least for value in values) else ""
