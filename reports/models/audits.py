"""Audit samples that somebody went round with, and what was found of each piece. Neither changes any verdict."""

import uuid

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from gear.models import Item, User
from gear.models.evidence import Sealed

STRATA = ("", "depot", "truck", "kind")
CONFIDENCES = (90, 95, 99)
# In the order of the sheet; everything but the first counts as bad.
FOUND_NAMES = {
    "as_recorded": _("as recorded"),
    "elsewhere": _("found elsewhere"),
    "not_found": _("not found"),
    "damaged": _("damaged"),
    "label_wrong": _("label wrong or not legible"),
    "out_of_date": _("out of date"),
}


class AuditSample(Sealed):
    """A draw that results are entered for: all that is needed to draw it again.

    `as_of` is the moment of the book that was drawn from; `parts` is a list of [stratum, pieces in it, pieces drawn],
    `drawn` one of [stratum, item number]. `confidence` is in per cent.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT)
    start = models.CharField(_("start number"), max_length=12)
    as_of = models.DateTimeField(_("as of"))
    depot = models.CharField(max_length=80, blank=True)
    kind = models.CharField(max_length=20, blank=True)
    strata = models.CharField(max_length=8, blank=True)
    confidence = models.PositiveSmallIntegerField()
    population = models.PositiveIntegerField()
    size = models.PositiveIntegerField()
    parts = models.JSONField(default=list)
    drawn = models.JSONField(default=list)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(start=""), name="auditsample_start_number_given"),
            models.CheckConstraint(condition=Q(strata__in=STRATA), name="auditsample_strata_known"),
            models.CheckConstraint(
                condition=Q(confidence__in=CONFIDENCES), name="auditsample_confidence_known"
            ),
            models.CheckConstraint(
                condition=Q(size__gte=1, size__lte=F("population")), name="auditsample_drawn_of_population"
            ),
        ]
        indexes = [models.Index(fields=["at"], name="auditsample_at")]

    def __str__(self):
        return f"{self.start} / {self.at:%Y-%m-%d}"


class AuditResult(Sealed):
    """What somebody found of a drawn piece; of several rows about one piece of a sample the newest counts.

    `looked_by` is the name of whoever stood before it, `by` of whoever entered it.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT)
    sample = models.ForeignKey(AuditSample, models.PROTECT, related_name="results")
    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    found = models.CharField(_("found"), max_length=12, choices=list(FOUND_NAMES.items()))
    looked_by = models.CharField(_("looked at by"), max_length=120)
    looked_on = models.DateField(_("on"))
    note = models.CharField(_("note"), max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(found__in=list(FOUND_NAMES)), name="auditresult_found_known"),
            models.CheckConstraint(condition=~Q(looked_by=""), name="auditresult_somebody_looked"),
        ]
