"""Twelve pieces by hand: who tested what with which meter and when, and what follows when M-2 is found wrong.

M-2 was calibrated on 3 August and found out of tolerance, and put right, on 14 September 2026. What each piece is
there for is its name in `WHY`; which of them rest on M-2 was worked out on paper.
"""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

from gear.actions import condition
from gear.actions.acting import Act
from inspections.actions.corrections import correct_test
from inspections.actions.instruments import Certificate, add_instrument, calibrate
from inspections.actions.testing import log_test
from inspections.rules.acceptance import Reading
from inspections.rules.testfacts import Paper
from tests import builders

GOOD, FOUND = date(2026, 8, 3), date(2026, 9, 14)
DAY = timedelta(days=1)
IN, LATER = date(2026, 8, 20), date(2026, 9, 1)
SOUND = Reading(
    tested_on=IN,
    purpose="in_service",
    supply="ac",
    applied_v=20_000,
    seconds=60,
    visual="accept",
    breakdown=False,
    flashover=False,
)
WHY = {
    "B-01": "in the span, with Dev",
    "B-02": "in the span, on truck T-12",
    "B-03": "in the span, on the shelf",
    "B-04": "on the day of the last good calibration",
    "B-05": "on the day it was found wrong",
    "B-06": "the day before the span: clear",
    "B-07": "the day after it was put right: clear",
    "B-08": "tested again by the lab since: clear",
    "B-09": "tested again since, by a test that names nothing: not clear",
    "B-10": "only a void test with M-2, accepted by M-1 before: clear",
    "B-11": "typed as M-1, corrected to M-2: rests on it",
    "B-12": "failed since: ended",
}
RESTING = {"B-01", "B-02", "B-03", "B-04", "B-05", "B-09", "B-11"}
USABLE = {"B-01", "B-02"}
ENDED = {"B-12"}


def instruments(cast):
    """M-1 and the lab in calibration throughout; M-2 as told above."""
    act = lambda: Act(cast.orla)  # noqa: E731 - each entry needs an act of its own
    for name, kind in (("M-1", "meter"), ("The lab", "lab")):
        calibrate(
            add_instrument(name, kind=kind, act=act()),
            Certificate(date(2026, 1, 5), date(2027, 1, 4), True),
            act=act(),
        )
    meter = add_instrument("M-2", kind="meter", act=act())
    calibrate(meter, Certificate(date(2025, 8, 1), date(2026, 7, 31), True), act=act())
    calibrate(meter, Certificate(GOOD, date(2027, 8, 2), True), act=act())
    return meter


def found_wrong(meter, cast):
    """The certificate of 14 September: out of tolerance as found, put right."""
    certificate = Certificate(FOUND, date(2027, 9, 13), False, "reads 6 % low at 10 mA", "C-1255", "Bay lab")
    return calibrate(meter, certificate, act=Act(cast.orla))


def pieces():
    """The twelve, each where it is now."""
    places = {"B-01": builders.holder("person", "Dev"), "B-02": builders.holder("truck", "T-12")}
    return {number: builders.blanket(number, at=places.get(number)) for number in WHY}


def tests(piece, cast):
    """Every test of the twelve, as it was logged."""

    def log(number, on, *, instrument="", lab="", **cells):
        reading = replace(SOUND, tested_on=on, **cells)
        return log_test(piece[number], reading, act=Act(cast.orla), instrument=instrument, lab=lab)[0]

    for number in ("B-01", "B-02", "B-03"):
        log(number, IN, instrument="M-2")
    log("B-04", GOOD, instrument="m-2")
    log("B-05", FOUND, instrument="M-2")
    log("B-06", GOOD - 4 * DAY, instrument="M-2")
    log("B-07", FOUND + DAY, instrument="M-2")
    log("B-08", IN, instrument="M-2")
    log("B-08", LATER, lab="The lab")
    log("B-09", IN, instrument="M-2")
    log("B-09", LATER)
    log("B-10", IN, instrument="M-1")
    log("B-10", LATER, instrument="M-2", seconds=20)
    slip = log("B-11", IN, instrument="M-1")
    correct_test(
        slip.entry,
        replace(SOUND, leakage_ma=Decimal("0.5")),
        Paper(instrument="M-2"),
        reason="it was M-2 that day",
        act=Act(cast.ines),
    )
    log("B-12", IN, instrument="M-2")
    condition.reject(piece["B-12"], reason="cut", act=Act(cast.dev))
