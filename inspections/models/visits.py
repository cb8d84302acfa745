"""Visitors and what they bring: a visit, its rows as they were keyed, and which pieces of the book came with it."""

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from gear.models import AppendOnly, Depot, Item, User
from inspections.models.bench import one_of
from inspections.models.words import LOOK_NAMES
from inspections.rules.bounds import LOOKS


class Visit(models.Model):
    """A crew of another organisation for some days. `organisation` is the owner that the entries of its gear name.

    `shared` are cells that hold for every row which says nothing else; `papers` the numbers of the reports that
    somebody of ours has seen.
    """

    number = models.CharField(_("number"), max_length=20, unique=True)
    organisation = models.CharField(_("organisation"), max_length=50)
    coming_from = models.CharField(_("coming from"), max_length=80, blank=True)
    contact = models.CharField(_("contact"), max_length=80, blank=True)
    phone = models.CharField(_("phone"), max_length=40, blank=True)
    expected_until = models.DateField(_("expected until"))
    depot = models.ForeignKey(Depot, models.PROTECT, null=True, blank=True)
    shared = models.JSONField(default=dict)
    papers = models.JSONField(default=list)
    started_at = models.DateTimeField()
    started_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    closed_at = models.DateTimeField(null=True)
    closed_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(organisation=""), name="visit_organisation_named")]

    def __str__(self):
        return self.number


class VisitRow(models.Model):
    """One row as it was keyed: a pair or a piece of one person. Working paper until its pieces are in the book."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    visit = models.ForeignKey(Visit, models.PROTECT, related_name="rows")
    place = models.PositiveIntegerField()
    cells = models.JSONField(default=dict)
    kept_at = models.DateTimeField()
    kept_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    look = models.CharField(_("look"), max_length=6, blank=True, choices=list(LOOK_NAMES.items()))
    looked_at = models.DateTimeField(null=True)
    looked_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["visit", "place"], name="visitrow_place_unique"),
            models.CheckConstraint(condition=one_of("look", LOOKS), name="visitrow_look_known"),
            models.CheckConstraint(
                condition=Q(look="") | Q(looked_at__isnull=False, looked_by__isnull=False),
                name="visitrow_look_has_a_name",
            ),
        ]


class VisitPiece(AppendOnly):
    """That a piece came with a visit, in whose hands, and from which row: an index into its entries."""

    visit = models.ForeignKey(Visit, models.PROTECT, related_name="pieces")
    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    row = models.ForeignKey(VisitRow, models.PROTECT, related_name="pieces")
    person = models.CharField(max_length=80, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["visit", "item"], name="visitpiece_once_a_visit"),
        ]
