"""Holds by what they are about: placed as one act on many pieces, or keeping one piece as evidence."""

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from gear.models.book import Item
from gear.models.evidence import AppendOnly, Entry, Sealed
from gear.models.people import User

ABOUT_NAMES = {"recall": _("Recall"), "trace": _("Bad instrument"), "piece": _("Failed piece")}


class HoldBatch(Sealed):
    """One act that held many pieces. `number` stands in each of their `held` entries; `id` is that of the act.

    `subject` says in a line what it is about, `asked` exactly what was asked for, `pieces` how many were held.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    number = models.CharField(_("batch"), max_length=20, unique=True)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True)
    about = models.CharField(max_length=8, choices=list(ABOUT_NAMES.items()))
    subject = models.CharField(max_length=200)
    reason = models.CharField(_("reason"), max_length=500)
    asked = models.JSONField(default=dict)
    pieces = models.PositiveIntegerField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(about__in=list(ABOUT_NAMES)), name="holdbatch_about_known"),
            models.CheckConstraint(condition=Q(pieces__gte=1), name="holdbatch_holds_something"),
        ]

    def __str__(self):
        return self.number


class BatchHold(AppendOnly):
    """That a hold belongs to a batch: an index into the `held` entries, which name it themselves."""

    entry = models.OneToOneField(Entry, models.PROTECT, primary_key=True)
    batch = models.ForeignKey(HoldBatch, models.PROTECT, related_name="holds")
    item = models.ForeignKey(Item, models.PROTECT)


class EvidenceKept(AppendOnly):
    """That a hold keeps its piece as evidence: an index into the `held` entries, which say so themselves."""

    entry = models.OneToOneField(Entry, models.PROTECT, primary_key=True)
    item = models.ForeignKey(Item, models.PROTECT)
