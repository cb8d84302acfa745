"""The register of instruments: who keeps it, what a late calibration cannot mend, what can be withdrawn."""

from dataclasses import replace
from datetime import UTC, date, datetime
from uuid import uuid4

import pytest
import time_machine

from gear.actions.acting import Act, Refused
from gear.ledger import verify
from gear.models import Entry, Refusal
from gear.permissions import NotAllowed
from inspections.actions.instruments import (
    Certificate,
    InstrumentRefused,
    add_instrument,
    calibrate,
    withdraw,
)
from inspections.actions.testing import log_test
from inspections.models import Calibration, Instrument
from inspections.queries.instruments import calibration_problems, history_of, register, unregistered
from inspections.rules.calibration import standing
from tests import builders
from tests.inspections.tracing_graph import SOUND

pytestmark = pytest.mark.django_db
CERTIFICATE = Certificate(
    date(2026, 1, 10), date(2026, 6, 30), True, "0.4 % at 10 mA", "C-1187", "Sound Bay standards room"
)
LATE = Certificate(date(2026, 8, 3), date(2027, 8, 2), True)


@pytest.fixture(autouse=True)
def in_september():
    """Noon at the site on 20 September 2026."""
    with time_machine.travel(datetime(2026, 9, 20, 16, tzinfo=UTC), tick=True):
        yield


@pytest.fixture
def meter(cast):
    return add_instrument("M-2", kind="meter", act=Act(cast.orla))


def enter(meter, certificate, by):
    return calibrate(meter, certificate, act=Act(by, id=uuid4()))


def outcome(cast, on, **paper):
    row, _judgement = log_test(builders.blanket(), replace(SOUND, tested_on=on), act=Act(cast.orla), **paper)
    return row.calibration, row.outcome


def test_an_instrument_and_its_calibration_are_entries_of_the_sites_own_record(cast, meter):
    row = enter(meter, CERTIFICATE, cast.orla)
    added, calibrated = Entry.objects.filter(item=None, gear_set=None).order_by("position")
    assert (added.kind, added.facts["instrument"], added.facts["instrument_kind"]) == (
        "instrument_added",
        "M-2",
        "meter",
    )
    assert calibrated.facts == {
        "v": 1,
        "instrument": "M-2",
        "calibrated_on": "2026-01-10",
        "good_through": "2026-06-30",
        "in_tolerance": True,
        "as_found": "0.4 % at 10 mA",
        "certificate_no": "C-1187",
        "calibrated_by": "Sound Bay standards room",
    }
    assert (row.entry, row.certificate_no, calibrated.by) == (calibrated, "C-1187", cast.orla)
    assert verify.verify() == []


@pytest.mark.parametrize(
    ("on", "expected"),
    [
        (date(2026, 1, 9), ("not_on_file", "accepted")),
        (date(2026, 1, 10), ("on_file", "accepted")),
        (date(2026, 6, 30), ("on_file", "accepted")),
        (date(2026, 7, 1), ("expired", "void")),
        (date(2026, 8, 2), ("expired", "void")),
        (date(2026, 8, 3), ("on_file", "accepted")),
    ],
)
@pytest.mark.parametrize("cell", ["instrument", "lab"])
def test_a_test_entered_late_is_judged_by_the_calibration_of_its_day(cast, meter, on, expected, cell):
    enter(meter, LATE, cast.orla)  # entered first, as papers come
    enter(meter, CERTIFICATE, cast.orla)
    assert outcome(cast, on, **{cell: "m-2"}) == expected


def test_a_late_calibration_does_not_mend_a_test_that_was_void(cast, meter):
    enter(meter, CERTIFICATE, cast.orla)
    blanket = builders.blanket("B-1")
    reading = replace(SOUND, tested_on=date(2026, 7, 15))
    row, _judgement = log_test(blanket, reading, act=Act(cast.orla), instrument="M-2")
    enter(meter, LATE, cast.orla)
    row.refresh_from_db()
    assert row.outcome == "void"
    assert outcome(cast, date(2026, 7, 15), instrument="M-2") == ("expired", "void")


@pytest.mark.parametrize("name", ["dev", "bertrand", "halvard", "pim"])
def test_only_clerk_and_supervisor_keep_the_register(cast, meter, name):
    by = getattr(cast, name)
    with pytest.raises(NotAllowed):
        add_instrument("M-3", kind="meter", act=Act(by))
    with pytest.raises(NotAllowed):
        enter(meter, CERTIFICATE, by)
    assert Refusal.objects.count() == 2
    assert (Instrument.objects.count(), Calibration.objects.count()) == (1, 0)


@pytest.mark.parametrize("name", ["M-2", "m-2", "  M-2 "])
def test_a_name_is_taken_once_whatever_its_capitals(cast, meter, name):
    with pytest.raises(InstrumentRefused, match="already") as refused:
        add_instrument(name, kind="bench", act=Act(cast.ines))
    assert refused.value.field == "name"
    assert Instrument.objects.count() == 1
    assert Entry.objects.filter(kind="instrument_added").count() == 1


@pytest.mark.parametrize(
    ("certificate", "code", "field"),
    [
        (replace(CERTIFICATE, calibrated_on=date(2026, 9, 21)), "CALIBRATED_IN_FUTURE", "calibrated_on"),
        (replace(CERTIFICATE, calibrated_on=date(1899, 1, 1)), "DATE_ABSURD", "calibrated_on"),
        (replace(CERTIFICATE, good_through=date(2026, 1, 9)), "ENDS_BEFORE", "good_through"),
        (replace(CERTIFICATE, in_tolerance=False, as_found=" "), "AS_FOUND_MISSING", "as_found"),
    ],
)
def test_a_certificate_that_cannot_be_right_is_refused_with_its_field(cast, meter, certificate, code, field):
    with pytest.raises(InstrumentRefused) as refused:
        enter(meter, certificate, cast.orla)
    assert (refused.value.code, refused.value.field) == (code, field)
    assert Calibration.objects.count() == 0


def test_what_was_not_given_back_voids_every_later_test(cast, meter):
    enter(meter, CERTIFICATE, cast.orla)
    enter(meter, Certificate(date(2026, 5, 1), None, False, "no reading at all"), cast.orla)
    assert outcome(cast, date(2026, 4, 30), instrument="M-2") == ("on_file", "accepted")
    assert outcome(cast, date(2026, 5, 1), instrument="M-2") == ("expired", "void")


# Withdrawing


def test_another_person_withdraws_what_was_entered_by_mistake(cast, meter):
    row = enter(meter, CERTIFICATE, cast.orla)
    entry = withdraw(row, reason="that was M-3", act=Act(cast.ines))
    assert (entry.kind, entry.corrects, entry.facts["replacement"]) == ("corrected", row.entry, None)
    assert history_of(meter).calibrations == ()
    assert Calibration.objects.count() == 1
    assert outcome(cast, date(2026, 3, 2), instrument="M-2") == ("not_on_file", "accepted")
    assert verify.verify() == []


def test_whoever_entered_it_does_not_withdraw_it(cast, meter):
    row = enter(meter, CERTIFICATE, cast.orla)
    with pytest.raises(Refused, match="Ask another clerk"):
        withdraw(row, reason="that was M-3", act=Act(cast.orla))
    assert len(history_of(meter).calibrations) == 1


def test_it_is_withdrawn_once(cast, meter):
    row = enter(meter, CERTIFICATE, cast.orla)
    withdraw(row, reason="that was M-3", act=Act(cast.ines))
    with pytest.raises(Refused, match="withdrawn before"):
        withdraw(row, reason="again", act=Act(cast.ines))
    assert Entry.objects.filter(corrects=row.entry).count() == 1


def test_what_nobody_entered_only_a_supervisor_withdraws(cast, meter):
    row = enter(meter, CERTIFICATE, None)
    with pytest.raises(Refused):
        withdraw(row, reason="typed wrong", act=Act(cast.orla))
    withdraw(row, reason="typed wrong", act=Act(cast.ines))


def test_an_older_calibration_counts_again_when_a_newer_one_is_withdrawn(cast, meter):
    enter(meter, CERTIFICATE, cast.orla)
    newer = enter(meter, LATE, cast.orla)
    withdraw(newer, reason="that was M-3", act=Act(cast.ines))
    assert history_of(meter).due_on == CERTIFICATE.good_through
    assert standing(register()["m-2"], date(2026, 9, 20)) == "expired"


# The row and its entry


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE inspections_calibration SET good_through = '2030-01-01'",
        "UPDATE inspections_calibration SET in_tolerance = (in_tolerance = false)",
        "UPDATE inspections_instrument SET name = 'M-9'",
        "DELETE FROM inspections_calibration",
    ],
)
def test_a_row_changed_behind_the_services_back_is_found(cast, meter, past_the_guards, statement):
    enter(meter, CERTIFICATE, cast.orla)
    assert list(calibration_problems()) == []
    past_the_guards(statement)
    assert [problem.code for problem in calibration_problems()] == ["CALIBRATION_DIFFERS"]
    assert "CALIBRATION_DIFFERS" in {problem.code for problem in verify.verify()}


def test_names_in_tests_that_the_register_lacks_are_told(cast, meter):
    for lab in ("The lab", "THE LAB", ""):
        log_test(
            builders.blanket(),
            replace(SOUND),
            act=Act(cast.orla),
            instrument="M-2" if lab else "M-7",
            lab=lab,
        )
    told = [(one.name.casefold(), one.tests) for one in unregistered()]
    assert told == [("the lab", 2), ("m-7", 1)]
