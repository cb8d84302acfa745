"""The register of instruments: add one, enter a calibration, withdraw one that was entered by mistake."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from gear import permissions
from gear.actions.acting import Act, Refused, keeping_refusals, reason_in
from gear.actions.refusals import FieldRefused
from gear.ledger import Draft, record, site_zone
from gear.ledger.chain import EARLIEST
from gear.models import Entry
from gear.rules import entries
from gear.rules.moments import local_day
from inspections import queries
from inspections.models import Calibration, Instrument
from inspections.queries.instruments import columns_of
from inspections.rules.calibration import INSTRUMENT_KINDS


class InstrumentRefused(FieldRefused):
    """A change to the register that may not be made."""

    SENTENCES = {
        "NAME_MISSING": ("name", _("Give it the name that stands on it and in the tests.")),
        "NAME_TAKEN": ("name", _("The register has an instrument or lab of this name already.")),
        "KIND_UNKNOWN": ("kind", _("Choose what it is.")),
        "CALIBRATED_IN_FUTURE": ("calibrated_on", _("This day lies in the future. Check the date.")),
        "DATE_ABSURD": ("calibrated_on", _("This day cannot be right. Check the year.")),
        "ENDS_BEFORE": ("good_through", _("This day lies before the calibration. Check both dates.")),
        "AS_FOUND_MISSING": ("as_found", _("Say how far out it was found, as the certificate says it.")),
        "WITHDRAWN_ALREADY": ("", _("This calibration was withdrawn before.")),
        "OWN_ENTRY": (
            "",
            _("Whoever entered a calibration cannot withdraw it. Ask another clerk or a supervisor."),
        ),
    }


@dataclass(frozen=True)
class Certificate:
    """What a certificate of calibration says. Without `good_through` the instrument was not given back for use."""

    calibrated_on: date
    good_through: date | None
    in_tolerance: bool
    as_found: str = ""
    certificate_no: str = ""
    calibrated_by: str = ""

    def facts(self, instrument: Instrument) -> dict:
        """The facts of the `calibrated` entry; what is not stated is left out."""
        stated = {
            "instrument": instrument.name,
            "calibrated_on": self.calibrated_on.isoformat(),
            "in_tolerance": self.in_tolerance,
            "good_through": self.good_through.isoformat() if self.good_through else None,
            "as_found": self.as_found,
            "certificate_no": self.certificate_no,
            "calibrated_by": self.calibrated_by,
        }
        return {name: value for name, value in stated.items() if value not in (None, "")}


def add_instrument(name: str, *, kind: str, note: str = "", act: Act) -> Instrument:
    """Add an instrument or a lab to the register. Raises InstrumentRefused with the field at fault."""
    name = " ".join(name.split())
    with keeping_refusals("calibrate", name, act):
        permissions.check_can(act.by, "calibrate")
        if not name:
            raise InstrumentRefused("NAME_MISSING")
        if kind not in INSTRUMENT_KINDS:
            raise InstrumentRefused("KIND_UNKNOWN")
        facts = {"instrument": name, "instrument_kind": kind, **({"note": note} if note else {})}
        # The lock on the site's own chain is held from here on: of two at once the second sees the first.
        record(Draft(None, "instrument_added", facts, id=act.id), by=act.by, via=act.via, device=act.device)
        if name.casefold() in queries.register():
            raise InstrumentRefused("NAME_TAKEN")
        return Instrument.objects.create(name=name, kind=kind, note=note)


def calibrate(instrument: Instrument, certificate: Certificate, *, act: Act) -> Calibration:
    """Enter a calibration. Tests that were recorded before keep what they were judged by."""
    with keeping_refusals("calibrate", instrument.name, act):
        permissions.check_can(act.by, "calibrate")
        _check(certificate)
        facts = certificate.facts(instrument)
        draft = Draft(None, "calibrated", facts, id=act.id)
        entry = record(draft, by=act.by, via=act.via, device=act.device)
        row = Calibration(entry=entry, instrument=instrument, **columns_of(facts))
        row.save()
        return row


def withdraw(calibration: Calibration, *, reason: str, act: Act) -> Entry:
    """Withdraw a calibration that was entered by mistake. Another person than the one who entered it does so."""
    with keeping_refusals("calibrate", f"{calibration.instrument} {calibration.pk}", act):
        permissions.check_can(act.by, "calibrate")
        first = calibration.entry
        if act.by is not None and not _is_second(first, act):
            raise InstrumentRefused("OWN_ENTRY")
        facts = {"v": entries.VERSION, "reason": reason_in(reason), "replacement": None}
        draft = Draft(None, "corrected", facts, corrects=first, id=act.id)
        made = record(draft, by=act.by, via=act.via, device=act.device)
        if Entry.objects.filter(corrects=first).exclude(pk=made.pk).exists():
            raise InstrumentRefused("WITHDRAWN_ALREADY")
        return made


def _is_second(entry: Entry, act: Act) -> bool:
    """Of what no person entered, only a supervisor is a second person."""
    assert act.by is not None
    return entry.by_id != act.by.pk if entry.by_id is not None else act.by.role == "supervisor"


def _check(certificate: Certificate) -> None:
    today = local_day(timezone.now(), site_zone())
    if certificate.calibrated_on > today:
        raise InstrumentRefused("CALIBRATED_IN_FUTURE")
    if certificate.calibrated_on < EARLIEST:
        raise InstrumentRefused("DATE_ABSURD")
    if certificate.good_through is not None and certificate.good_through < certificate.calibrated_on:
        raise InstrumentRefused("ENDS_BEFORE")
    if not certificate.in_tolerance and not certificate.as_found.strip():
        raise InstrumentRefused("AS_FOUND_MISSING")


__all__ = ["Certificate", "InstrumentRefused", "Refused", "add_instrument", "calibrate", "withdraw"]
