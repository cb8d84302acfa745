"""Grounding sets: resistance limit of a jumper, withstand against fault current, and the arithmetic behind the tables.

Decisions are made on exact fractions; what is shown is rounded afterwards.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal, localcontext
from fractions import Fraction

from gear.rules.packs import HIGH_XR_GRADES, Figure, RulePack

MM_PER_FOOT = Fraction(3048, 10)
CYCLES_PER_SECOND = 60
COPPER_MELTS_AT_C = 1083
SYMMETRICAL_X_OVER_R = Decimal("1.8")
SHOWN_PLACES = Decimal("0.0001")


@dataclass(frozen=True)
class JumperCheck:
    """Both ways of judging one reading, in milliohm with four places. Accepted only when both accept."""

    accepted: bool
    reading_mohm: Decimal
    corrected_mohm: Decimal
    limit_20_mohm: Decimal
    limit_at_temperature_mohm: Decimal
    r20: Figure


@dataclass(frozen=True)
class Withstand:
    """Whether a grade carries a fault. `holds` is None where the table cannot say; `code` tells why."""

    holds: bool | None
    figure: Figure | None
    code: str = ""


@dataclass(frozen=True)
class ParallelRating:
    """Withstand in kA of two equal cables in parallel: the lower of the tabulated and the derated figure."""

    kiloamperes: Decimal
    tabulated_ka: Decimal | None
    derated_ka: Decimal


def jumper_limit_mohm(
    *, cable_size: str | None, length_mm: int | Decimal, temperature_c: Decimal, pack: RulePack
) -> Fraction | None:
    """Largest resistance of a jumper at a cable temperature, in milliohm, exact.

    1.05 x cable resistance + 0.32 (third-party summary of ASTM F2249; only the cable part follows temperature).
    None where the cable has no tabulated resistance, the length is not above zero, or no copper is that cold.
    """
    r20 = pack.r20_mohm_per_ft(cable_size)
    factor = temperature_factor(temperature_c, pack)
    if r20 is None or length_mm <= 0 or factor is None:
        return None
    cable = _exact(r20) * Fraction(length_mm) / MM_PER_FOOT * factor
    return _constant("cable_factor", pack) * cable + _constant("fittings_mohm", pack)


def temperature_factor(temperature_c: Decimal, pack: RulePack) -> Fraction | None:
    """Resistance of copper against that at 20 C: 1 + 0.00393 x (T - 20). None where it would not be above zero."""
    if not temperature_c.is_finite():
        return None
    above = Fraction(temperature_c) - _constant("reference_c", pack)
    factor = 1 + _constant("alpha_per_c", pack) * above
    return factor if factor > 0 else None


def check_jumper(
    *,
    resistance_mohm: Decimal,
    cable_temp_c: Decimal,
    cable_size: str | None,
    length_mm: int | Decimal,
    pack: RulePack,
) -> JumperCheck | None:
    """Judge a reading in milliohm against the limit at 20 C (corrected) and at cable temperature (as read).

    Correcting the reading also scales the 0.32 of the fittings, so the two ways differ: both must accept.
    None where there is no limit to judge against.
    """
    reference = Decimal(pack.jumper_constant("reference_c").value)  # type: ignore[arg-type]
    factor = temperature_factor(cable_temp_c, pack)
    known = {"cable_size": cable_size, "length_mm": length_mm, "pack": pack}
    limit_20 = jumper_limit_mohm(temperature_c=reference, **known)  # type: ignore[arg-type]
    limit_warm = jumper_limit_mohm(temperature_c=cable_temp_c, **known)  # type: ignore[arg-type]
    r20 = pack.r20_mohm_per_ft(cable_size)
    if factor is None or limit_20 is None or limit_warm is None or r20 is None:
        return None
    reading = Fraction(resistance_mohm)
    corrected = reading / factor
    accepted = corrected <= limit_20 and reading <= limit_warm
    return JumperCheck(accepted, resistance_mohm, shown(corrected), shown(limit_20), shown(limit_warm), r20)


def check_withstand(
    grade: str | None, *, kiloamperes: Decimal, cycles: int, x_over_r: Decimal | None = None, pack: RulePack
) -> Withstand:
    """Does a grade carry `kiloamperes` for `cycles` of 60 Hz? At the next longer tabulated duration, never beyond it.

    Symmetrical grades hold for X/R up to 1.8 only; a high X/R grade ("3H") is rated at 15 cycles (ASTM F855).
    """
    high = grade in HIGH_XR_GRADES
    if grade is None:
        return Withstand(None, None, "GRADE_NOT_KNOWN")
    if not kiloamperes.is_finite() or kiloamperes <= 0 or cycles <= 0:
        return Withstand(None, None, "FAULT_NOT_STATED")
    if x_over_r is not None and not x_over_r <= SYMMETRICAL_X_OVER_R and not high:
        return Withstand(None, None, "HIGH_X_OVER_R_NEEDS_H_GRADE")
    figure = _high_rating(grade, cycles, pack) if high else pack.withstand_ka(grade, cycles)
    if figure is None:
        return Withstand(None, None, "NO_TABULATED_DURATION")
    return Withstand(kiloamperes <= Decimal(figure.value), figure)  # type: ignore[arg-type]


def _high_rating(grade: str, cycles: int, pack: RulePack) -> Figure | None:
    """High X/R grades are tabulated at 15 cycles alone."""
    return pack.h_rating_ka(grade) if cycles <= 15 else None


def parallel_withstand_ka(cable_size: str | None, *, cycles: int, pack: RulePack) -> ParallelRating | None:
    """Two equal cables of the same length. None where one cable has no withstand at that duration.

    ASTM F855 tabulates 2 x 2/0 and 2 x 4/0; a military handbook takes twice one cable less 10 %. The lower counts.
    """
    single = pack.withstand_ka(pack.grade_of_cable(cable_size), cycles)
    if single is None:
        return None
    derated = 2 * Decimal(single.value) * Decimal(pack.parallel_factor("derate").value)  # type: ignore[arg-type]
    tabulated = pack.withstand_ka(pack.parallel_grade(cable_size), cycles)
    if tabulated is None:
        return ParallelRating(derated, None, derated)
    listed = Decimal(tabulated.value)  # type: ignore[arg-type]
    return ParallelRating(min(listed, derated), listed, derated)


def wire_number(cable_size: str) -> int:
    """The n of the AWG formula: "#2" is 2, "4/0" is -3. Raises ValueError for a size that is not AWG."""
    if cable_size.startswith("#"):
        return int(cable_size[1:])
    if cable_size.endswith("/0"):
        return 1 - int(cable_size[:-2])
    raise ValueError(f"{cable_size} is not an AWG size.")


def diameter_in(cable_size: str) -> Decimal:
    """Diameter in inches of an AWG size: 0.005 x 92 ^ ((36 - n) / 39) (ASTM B258)."""
    with localcontext(prec=28):
        return Decimal("0.005") * Decimal(92) ** (Decimal(36 - wire_number(cable_size)) / 39)


def area_cmil(cable_size: str) -> Decimal:
    """Area in circular mils: stated for kcmil sizes, the square of the diameter in mils for AWG sizes."""
    if cable_size.endswith(" kcmil"):
        return Decimal(cable_size.removesuffix(" kcmil")) * 1000
    with localcontext(prec=28):
        return (1000 * diameter_in(cable_size)) ** 2


def melting_current_a(area: Decimal, *, seconds: Decimal, ambient_c: Decimal = Decimal(40)) -> Decimal:
    """Onderdonk: the current in A that melts copper of `area` circular mils in `seconds`.

    I = A sqrt(log10((1083 - Ta) / (234 + Ta) + 1) / (33 t)). One published example prints 234 - Ta: a misprint.
    """
    with localcontext(prec=28):
        rise = (COPPER_MELTS_AT_C - ambient_c) / (234 + ambient_c) + 1
        return area * (rise.log10() / (33 * seconds)).sqrt()


def _exact(figure: Figure) -> Fraction:
    return Fraction(figure.value)  # type: ignore[arg-type]


def _constant(name: str, pack: RulePack) -> Fraction:
    return _exact(pack.jumper_constant(name))


def shown(value: Fraction) -> Decimal:
    """Milliohm with four places, as they stand on a screen; nothing is decided on them."""
    return (Decimal(round(value / Fraction(SHOWN_PLACES))) * SHOWN_PLACES).quantize(SHOWN_PLACES)
