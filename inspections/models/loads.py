"""What a class of truck should carry, which class a truck is of, and what a walk round a truck found."""

import uuid

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from gear.models import Holder, User
from gear.models.evidence import Sealed

OUTCOME_NAMES = {
    "good": _("all seen, in date and rated for what was entered"),
    "unknown": _("not complete"),
    "stop": _("stop"),
}


class TruckClass(models.Model):
    """Trucks that carry the same: rubber-glove bucket, digger derrick, underground van."""

    name = models.CharField(_("name"), max_length=80, unique=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(name=""), name="truckclass_named")]

    def __str__(self):
        return self.name


class LoadList(Sealed):
    """One version of what a class of truck should carry; the newest counts, and the older ones stay.

    `lines` is a list of inspections.rules.loadlist.Line as JSON.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True)
    truck_class = models.ForeignKey(TruckClass, models.PROTECT, related_name="lists")
    version = models.PositiveIntegerField()
    lines = models.JSONField(default=list)
    reason = models.CharField(_("reason"), max_length=500, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["truck_class", "version"], name="loadlist_class_version_unique"),
            models.CheckConstraint(condition=Q(version__gte=1), name="loadlist_version_from_one"),
        ]

    def __str__(self):
        return f"{self.truck_class} {self.version}"


class TruckFitting(Sealed):
    """That a truck is of a class from now on; the newest row counts. No class: it carries what it carries."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True)
    truck = models.ForeignKey(Holder, models.PROTECT, related_name="fittings")
    truck_class = models.ForeignKey(TruckClass, models.PROTECT, null=True, related_name="fittings")

    class Meta:
        indexes = [models.Index(fields=["truck", "at"], name="truckfitting_truck_at")]


class LoadCheck(Sealed):
    """One walk round a truck, as the phone found and told it, and beside it what the server said when it arrived.

    `at` is the moment of arrival. `crew` are names of people who ride along; their gear was looked for as well.
    `load_list` is the version that the load was measured against. `pieces` is a list of {"no", "code", "state",
    "verdict", "reasons", "good_through", "as_of_ms", "age_s", "source", "taken"}, `short` of {"words", "count",
    "aboard"}, `arrived` what the server says of the same pieces, under their numbers, and which it knows of besides.
    """

    id = models.UUIDField(primary_key=True)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT)
    device = models.CharField(max_length=80, blank=True)
    truck = models.ForeignKey(Holder, models.PROTECT, related_name="load_checks")
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField()
    back_on = models.DateField()
    crew = models.JSONField(default=list)
    load_list = models.ForeignKey(LoadList, models.PROTECT, null=True)
    outcome = models.CharField(max_length=8, choices=list(OUTCOME_NAMES.items()))
    told_outcome = models.CharField(max_length=8, choices=list(OUTCOME_NAMES.items()))
    expected = models.PositiveIntegerField()
    seen = models.PositiveIntegerField()
    blocked = models.PositiveIntegerField()
    strays = models.PositiveIntegerField()
    data_as_of = models.DateTimeField(null=True)
    pieces = models.JSONField(default=list)
    short = models.JSONField(default=list)
    arrived = models.JSONField(default=dict)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(outcome__in=list(OUTCOME_NAMES), told_outcome__in=list(OUTCOME_NAMES)),
                name="loadcheck_outcome_known",
            ),
            models.CheckConstraint(condition=Q(seen__lte=F("expected")), name="loadcheck_seen_of_expected"),
            models.CheckConstraint(
                condition=~Q(outcome="good") | Q(seen=F("expected"), blocked=0, strays=0, expected__gt=0),
                name="loadcheck_good_is_complete",
            ),
            models.CheckConstraint(
                condition=Q(finished_at__gte=F("started_at")), name="loadcheck_ends_after_it_begins"
            ),
        ]
        indexes = [models.Index(fields=["truck", "finished_at"], name="loadcheck_truck_finished")]

    @property
    def not_seen(self):
        return self.expected - self.seen
