"""Reads of the register: every instrument with its calibrations, and what rests on it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Exists, Max, OuterRef, Q, QuerySet
from django.utils.translation import gettext as _

from gear.ledger.problems import Problem
from gear.models import Entry
from inspections.models import Calibration, ElectricalTest, Instrument
from inspections.queries.electrical import tests_in_force
from inspections.rules import calibration
from inspections.rules.calibration import History
from inspections.rules.testfacts import Paper

Register = Mapping[str, History]
CELLS = ("instrument", "lab", "bench")  # where a test names what it was made with


@dataclass(frozen=True)
class Registered:
    """An instrument with its history."""

    instrument: Instrument
    history: History


@dataclass(frozen=True)
class Unregistered:
    """A name that tests give and that the register does not have: how many tests, the newest on which day."""

    name: str
    tests: int
    last_on: date


def registered() -> list[Registered]:
    """Every instrument with its history, in order of name; two queries."""
    found: dict[int, list[calibration.Calibration]] = {}
    for row in calibrations_in_force():
        known = calibration.Calibration(row.calibrated_on, row.good_through, row.in_tolerance)
        found.setdefault(row.instrument_id, []).append(known)
    return [
        Registered(one, History(tuple(found.get(one.pk, ())), one.calibration_due_on))
        for one in Instrument.objects.order_by(*("name", "pk"))
    ]


def history_of(instrument: Instrument) -> History:
    """What the register knows of one instrument."""
    rows = calibrations_in_force().filter(instrument=instrument)
    known = (calibration.Calibration(row.calibrated_on, row.good_through, row.in_tolerance) for row in rows)
    return History(tuple(known), instrument.calibration_due_on)


def calibrations_in_force() -> QuerySet[Calibration]:
    """Every calibration that was not withdrawn, in order of its day and then of recording."""
    withdrawn = Entry.objects.filter(corrects=OuterRef("entry"))
    return Calibration.objects.filter(~Exists(withdrawn)).order_by("calibrated_on", "entry__position")


def register() -> Register:
    """The history of every instrument and lab on file, by its name in lower case."""
    return {one.instrument.name.casefold(): one.history for one in registered()}


def calibration_on(paper: Paper, tested_on: date, on_file: Register) -> str:
    """One of testfacts.CALIBRATIONS for the instrument, lab and bench named, by the calibrations in force on that day:
    expired where one of them is, else on file where one is."""
    named = [name.casefold() for cell in CELLS if (name := getattr(paper, cell))]
    histories = (on_file.get(name, History()) for name in named)
    return calibration.worst(calibration.standing(one, tested_on) for one in histories)


def named(name: str) -> Q:
    """The tests that name an instrument, lab or bench, in whatever case; asks once a cell how tests spell it."""
    wanted, found = name.casefold(), Q()
    for cell in CELLS:
        spelled = ElectricalTest.objects.order_by().values_list(cell, flat=True).distinct()
        found |= Q(**{f"{cell}__in": [one for one in spelled if one.casefold() == wanted]})
    return found


def tests_with(instrument: Instrument) -> QuerySet[ElectricalTest]:
    """The tests that count and name this instrument, the newest first."""
    return tests_in_force().filter(named(instrument.name)).order_by("-tested_on", "-pk")


def unregistered() -> list[Unregistered]:
    """The instruments, labs and benches that tests name and the register does not have; most used first."""
    known = {one.casefold() for one in Instrument.objects.values_list("name", flat=True)}
    found: dict[str, Unregistered] = {}
    for cell in CELLS:
        counted = ElectricalTest.objects.exclude(**{cell: ""}).order_by().values_list(cell)
        for name, tests, last_on in counted.annotate(Count("pk"), Max("tested_on")):
            if name.casefold() in known:
                continue
            other = found.get(name.casefold())
            total = tests + (other.tests if other else 0)
            newest = max(last_on, other.last_on) if other else last_on
            found[name.casefold()] = Unregistered(other.name if other else name, total, newest)
    return sorted(found.values(), key=lambda one: (-one.tests, one.name))


def calibration_problems() -> Iterator[Problem]:
    """Every calibration that is not what its entry says, and every entry of one that lost its row; two queries."""
    rows = {row.pk: row for row in Calibration.objects.select_related("instrument", "entry")}
    for entry in Entry.objects.filter(kind="calibrated").order_by("position"):
        if why := _difference(entry, rows.pop(entry.pk, None)):
            yield _problem(entry, why)
    for row in rows.values():
        yield _problem(row.entry, _("has a row and is no calibration"))


def _difference(entry: Entry, row: Calibration | None) -> str:
    if row is None:
        return _("has lost its row")
    try:
        stated = columns_of(entry.facts)
        wrong = [name for name, value in stated.items() if getattr(row, name) != value]
        if row.instrument.name != entry.facts["instrument"]:
            wrong.append("instrument")
    except (KeyError, TypeError, ValueError, AttributeError):
        return _("cannot be read")
    return _("differs from its row in %s") % ", ".join(wrong) if wrong else ""


def _problem(entry: Entry, why: str) -> Problem:
    sentence = _("Calibration entry %(entry)s %(why)s. Compare with the certificate and an older backup.")
    return Problem("site", "CALIBRATION_DIFFERS", sentence % {"entry": entry.pk, "why": why})


def columns_of(facts: Mapping) -> dict[str, object]:
    """The columns of the row beside a `calibrated` entry, from its facts. Raises KeyError, TypeError or ValueError."""
    through = facts.get("good_through")
    return {
        "calibrated_on": date.fromisoformat(facts["calibrated_on"]),
        "good_through": date.fromisoformat(through) if through else None,
        "in_tolerance": facts["in_tolerance"],
        **{name: facts.get(name, "") for name in ("as_found", "certificate_no", "calibrated_by")},
    }
