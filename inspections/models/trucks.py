"""What is known of trucks as barriers: whether the boom is insulated, what for, and until when its tests last."""

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from gear.models import Holder, User
from gear.models.evidence import Sealed


class TruckRecord(Sealed):
    """What somebody entered about a truck. The newest counts; older ones stay. Days are last good days.

    `boom_rated_v` is the rating of the boom in V phase-to-phase.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT)
    truck = models.ForeignKey(Holder, models.PROTECT, related_name="truck_records")
    insulated = models.BooleanField(_("insulated"))
    boom_rated_v = models.PositiveIntegerField(null=True)
    boom_good_through = models.DateField(_("boom test good through"), null=True)
    has_liner = models.BooleanField(_("has a bucket liner"), default=False)
    liner_good_through = models.DateField(_("liner test good through"), null=True)
    note = models.CharField(_("note"), max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(insulated=True)
                | Q(boom_rated_v__isnull=True, boom_good_through__isnull=True, has_liner=False),
                name="truckrecord_uninsulated_has_no_boom",
            ),
            models.CheckConstraint(
                condition=Q(boom_rated_v__isnull=True) | Q(boom_rated_v__gt=0),
                name="truckrecord_rating_positive",
            ),
            models.CheckConstraint(
                condition=Q(has_liner=True) | Q(liner_good_through__isnull=True),
                name="truckrecord_only_a_liner_is_dated",
            ),
        ]
        indexes = [models.Index(fields=["truck", "at"], name="truckrecord_truck_at")]
