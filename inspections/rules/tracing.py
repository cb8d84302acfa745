"""Trace forward from a bad instrument: whose accepted test rests on it, and so proves nothing any more."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from gear.rules.fold import ItemFacts
from inspections.rules.calibration import History


@dataclass(frozen=True)
class Span:
    """The days on which an instrument may have been wrong; both ends count, None is open."""

    since: date | None
    through: date | None

    def covers(self, day: date) -> bool:
        after = self.since is None or self.since <= day
        return after and (self.through is None or day <= self.through)


def span(history: History, found_on: date) -> Span:
    """When an instrument that was found wrong on a day may have been wrong.

    From the last calibration before that day that left it good, that day included: what was tested before the
    calibration and what after it, dates do not tell. Where there is none, from ever. Through the calibration that
    put it right, on that day or the first one after; where there is none yet, it still is.
    """
    good = [one.on for one in history.calibrations if one.on < found_on and one.left_good]
    righted = [one.on for one in history.calibrations if one.on >= found_on and one.good_through is not None]
    return Span(good[-1] if good else None, righted[0] if righted else None)


@dataclass(frozen=True)
class Acceptance:
    """An accepted test that counts. `named` is what it names as having been made with, in lower case; empty: nothing.

    `order` is when it happened and when it was recorded, which is the order in which acceptances replace one another.
    """

    on: date
    named: frozenset[str]
    order: tuple[datetime, datetime, str]
    test: Any = None


def carried_by(acceptances: Iterable[Acceptance], instrument: str, wrong: Span) -> Acceptance | None:
    """The acceptance by the instrument, from within the span, that an item still rests on; None where it rests on none.

    A later acceptance by another instrument or lab, or by the same one outside the span, clears the item. One that
    names neither may have been made with the bad one, and clears nothing.
    """
    name = instrument.casefold()
    for one in sorted(acceptances, key=lambda each: each.order, reverse=True):
        if one.named:
            return one if name in one.named and wrong.covers(one.on) else None
    return None


def has_ended(facts: ItemFacts) -> bool:
    """Whether the acceptance counts for nothing anyway: failed, rejected or destroyed, or ended by an event since."""
    final = facts.failed or facts.damaged or facts.rejected or facts.destroyed
    return bool(final or facts.voided)
