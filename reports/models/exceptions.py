"""Exceptions that somebody approved: notes that stand on every report until they end. None changes a verdict."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q

from gear.models import Crew, Holder, Item, User
from gear.models.evidence import Sealed
from reports.wording.exceptions import ABOUT_NAMES


def _about(kind: str) -> Q:
    """Exactly what an exception of this kind names is stated."""
    stated = {f"{name}__isnull": name != kind for name in ("item", "crew", "truck")}
    return Q(about=kind, **stated)


class ExceptionNote(Sealed):
    """One exception: what it is about, its name, its reason, its last day, and who approved it."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    about = models.CharField(max_length=8, choices=list(ABOUT_NAMES.items()))
    item = models.ForeignKey(Item, models.PROTECT, null=True, related_name="+")
    crew = models.ForeignKey(Crew, models.PROTECT, null=True, related_name="+")
    truck = models.ForeignKey(Holder, models.PROTECT, null=True, related_name="+")
    name = models.CharField(max_length=80)
    reason = models.CharField(max_length=500)
    begins_on = models.DateField()
    ends_on = models.DateField()
    approved_by = models.ForeignKey(User, models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=_about("item") | _about("crew") | _about("truck") | _about("all"),
                name="exceptionnote_about_one_thing",
            ),
            models.CheckConstraint(condition=~Q(name=""), name="exceptionnote_named"),
            models.CheckConstraint(condition=~Q(reason=""), name="exceptionnote_reason_given"),
            models.CheckConstraint(
                condition=Q(ends_on__gte=models.F("begins_on")), name="exceptionnote_ends_after_it_begins"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class ExceptionEnd(Sealed):
    """That an exception was closed before its last day, and why."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    exception = models.OneToOneField(ExceptionNote, models.PROTECT, related_name="end")
    reason = models.CharField(max_length=500)

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="exceptionend_reason_given")]
