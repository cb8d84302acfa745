"""Phones and tablets that hold a copy of the book: who has them, when they were last heard of, and which are barred."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from gear.models import Depot, User

DEVICE_NAMES = {"shared": _("Shared tablet"), "own": _("A person's own phone")}


class Device(models.Model):
    """One enrolled phone or tablet. Its key is in a cookie there; here is only the SHA-256 of it.

    A shared tablet belongs to a depot and to nobody; an own phone to the person who signs in on it. It is revoked,
    never deleted: entries and answers name it.
    """

    name = models.CharField(_("name"), max_length=80, unique=True)
    kind = models.CharField(_("kind"), max_length=8, choices=list(DEVICE_NAMES.items()))
    person = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    depot = models.ForeignKey(Depot, models.PROTECT, null=True, blank=True, verbose_name=_("depot"))
    digest = models.CharField(max_length=64, unique=True, null=True)
    enrol_digest = models.CharField(max_length=64, blank=True)
    enrol_until = models.DateTimeField(null=True)
    added_at = models.DateTimeField()
    added_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    enrolled_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)
    revoked_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    last_seen_at = models.DateTimeField(null=True)
    last_sync_at = models.DateTimeField(null=True)
    unsent = models.PositiveIntegerField(default=0)
    skew_s = models.IntegerField(default=0)
    version = models.CharField(max_length=40, blank=True)

    SECRETS = frozenset(
        {"digest", "enrol_digest", "enrol_until"}
    )  # columns that never leave the installation

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=list(DEVICE_NAMES)), name="device_kind_known"),
            models.CheckConstraint(condition=~Q(name=""), name="device_named"),
            models.CheckConstraint(
                condition=Q(kind="shared") | Q(person__isnull=False), name="device_own_has_person"
            ),
        ]

    def __str__(self):
        return self.name
