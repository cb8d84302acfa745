"""Whether an instrument was in calibration on a day: by the calibration then in force, whatever came later."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

INSTRUMENT_KINDS = ("meter", "micro_ohmmeter", "timer", "bench", "lab")


@dataclass(frozen=True)
class Calibration:
    """One calibration: its day, the last day that it is good through, and whether the instrument came in tolerance.

    Without `good_through` the instrument was not given back for use.
    """

    on: date
    good_through: date | None
    in_tolerance: bool = True

    @property
    def left_good(self) -> bool:
        """Whether the instrument was known to be right on that day: as it was found, or once it was put right."""
        return self.in_tolerance or self.good_through is not None


@dataclass(frozen=True)
class History:
    """What the register knows of one instrument.

    `calibrations` stand in order of their day, those of one day in the order in which they were entered.
    `brought_in` is the last good day of a calibration whose own day is not on file; it speaks for the days before the
    first of the others.
    """

    calibrations: tuple[Calibration, ...] = ()
    brought_in: date | None = None

    @property
    def newest(self) -> Calibration | None:
        return self.calibrations[-1] if self.calibrations else None

    @property
    def due_on(self) -> date | None:
        """The last day on which the instrument is in calibration as things stand; None where none is on file, and
        where it was not given back for use."""
        return self.newest.good_through if self.newest else self.brought_in

    @property
    def out_of_use(self) -> bool:
        """Whether the newest calibration did not give it back for use."""
        return self.newest is not None and self.newest.good_through is None


def in_force(history: History, day: date) -> Calibration | None:
    """The calibration that counted on a day: the newest that was made by then. Later ones make no gap good."""
    made = [one for one in history.calibrations if one.on <= day]
    return made[-1] if made else None


def standing(history: History, day: date) -> str:
    """`on_file`, `expired` or `not_on_file` on a day. The day of calibration and the last good day both count."""
    counted = in_force(history, day)
    if counted is None and history.brought_in is None:
        return "not_on_file"
    through = counted.good_through if counted else history.brought_in
    return "on_file" if through is not None and day <= through else "expired"


def worst(standings: Iterable[str]) -> str:
    """What several instruments together say: expired where one is, else on file where one is."""
    found = set(standings)
    return next((word for word in ("expired", "on_file", "not_on_file") if word in found), "not_stated")
