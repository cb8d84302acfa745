"""What a site hands to every person who works on the lines. It is a choice of the site, not evidence."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from gear.rules.readiness import KINDS


class KitLine(models.Model):
    """One line of the kit: pairs of gloves or sleeves, pieces of anything else. No class is any class."""

    kind = models.CharField(_("kind"), max_length=20)
    cls = models.CharField(_("class"), max_length=4, blank=True, db_column="class")
    count = models.PositiveSmallIntegerField(_("how many"))
    place = models.PositiveSmallIntegerField(default=0)  # in the list

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=KINDS), name="kitline_kind_known"),
            models.CheckConstraint(condition=Q(count__gt=0), name="kitline_count_positive"),
            models.UniqueConstraint(fields=["kind", "cls"], name="kitline_kind_class_unique"),
        ]

    def __str__(self):
        return f"{self.count} x {self.kind} {self.cls}".strip()
