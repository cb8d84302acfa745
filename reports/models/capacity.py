"""How many pieces the bench and each lab take in a week: a choice of the site, kept as it was stated from when on."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from gear.models import AppendOnly, Holder, User
from gear.rules.readiness import KINDS


class WeeklyCapacity(AppendOnly):
    """One statement: what a bench or a lab takes of a kind (blank: of everything together) in each week.

    `first_week` and `last_week` are Mondays; without a last one it holds until another row says otherwise. A closed
    week is a row of 0 pieces with its end. A wrong row is not edited: the row entered last counts.
    """

    place = models.ForeignKey(Holder, models.PROTECT)
    kind = models.CharField(_("kind"), max_length=20, blank=True)
    pieces = models.PositiveIntegerField(_("pieces a week"))
    first_week = models.DateField(_("from the week of"))
    last_week = models.DateField(_("through the week of"), null=True)
    note = models.CharField(_("note"), max_length=200, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=("", *KINDS)), name="weeklycapacity_kind_known"),
            models.CheckConstraint(
                condition=Q(last_week__isnull=True) | Q(last_week__gte=F("first_week")),
                name="weeklycapacity_ends_after_it_begins",
            ),
            models.CheckConstraint(condition=Q(pieces__lte=100000), name="weeklycapacity_pieces_possible"),
        ]
        indexes = [models.Index(fields=["first_week"], name="weeklycapacity_first_week")]
