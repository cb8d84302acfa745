"""The register of instruments and every calibration of them."""

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower
from django.utils.translation import gettext_lazy as _

from gear.models import AppendOnly, Entry
from inspections.rules.calibration import INSTRUMENT_KINDS

INSTRUMENT_KIND_NAMES = {
    "meter": _("Meter"),
    "micro_ohmmeter": _("Micro-ohmmeter"),
    "timer": _("Timer"),
    "bench": _("Bench"),
    "lab": _("Lab"),
}


class Instrument(models.Model):
    """A meter, a bench, a timer or a lab in the register. Tests name it, so its name never changes.

    `calibration_due_on` is the last day of a calibration whose own day is not on file; it speaks for the days before
    the first Calibration.
    """

    name = models.CharField(_("name"), max_length=80, unique=True)
    kind = models.CharField(_("kind"), max_length=16, blank=True, choices=list(INSTRUMENT_KIND_NAMES.items()))
    calibration_due_on = models.DateField(_("calibration good through"), null=True, blank=True)
    note = models.CharField(_("note"), max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="instrument_named"),
            models.CheckConstraint(
                condition=Q(kind__in=("", *INSTRUMENT_KINDS)), name="instrument_kind_known"
            ),
            # Tests name an instrument in whatever case: two that differ by it alone could not be told apart.
            models.UniqueConstraint(Lower("name"), name="instrument_name_unique"),
        ]

    def __str__(self):
        return self.name


class Calibration(AppendOnly):
    """One calibration, beside the site's `calibrated` entry that keeps it. A correction of that entry withdraws it.

    `good_through` is null where the instrument was not given back for use; `in_tolerance` says how it was found.
    """

    entry = models.OneToOneField(Entry, models.PROTECT, primary_key=True)
    instrument = models.ForeignKey(Instrument, models.PROTECT, related_name="calibrations")
    calibrated_on = models.DateField(_("calibrated on"))
    good_through = models.DateField(_("good through"), null=True)
    in_tolerance = models.BooleanField(_("found in tolerance"))
    as_found = models.CharField(_("as found"), max_length=200, blank=True)
    certificate_no = models.CharField(_("certificate number"), max_length=80, blank=True)
    calibrated_by = models.CharField(_("calibrated by"), max_length=80, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(good_through__isnull=True) | Q(good_through__gte=F("calibrated_on")),
                name="calibration_ends_after_it_begins",
            )
        ]
        indexes = [models.Index(fields=["instrument", "calibrated_on"], name="calibration_instrument_day")]
