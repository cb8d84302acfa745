"""How a lab writes its files, version by version, and which file was read how: an old import can be explained."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from gear.models import AppendOnly, Holder, ImportedFile, User
from inspections.models.shipping import Shipment


class LabMapping(AppendOnly):
    """One version of a lab's columns, units and words (inspections.rules.labfile). The newest of a name counts."""

    name = models.CharField(_("name"), max_length=60)
    version = models.PositiveIntegerField()
    lab = models.ForeignKey(Holder, models.PROTECT, verbose_name=_("lab"))
    content = models.JSONField()
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(User, models.PROTECT, null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["name", "version"], name="labmapping_version_once"),
            models.CheckConstraint(condition=~Q(name=""), name="labmapping_named"),
            models.CheckConstraint(condition=Q(version__gte=1), name="labmapping_version_from_one"),
        ]

    def __str__(self):
        return f"{self.name} {self.version}"


class LabFile(AppendOnly):
    """A lab's file that was brought in: the file as it came, the mapping it was read through, and its shipment."""

    file = models.OneToOneField(ImportedFile, models.PROTECT)
    mapping = models.ForeignKey(LabMapping, models.PROTECT)
    shipment = models.ForeignKey(Shipment, models.PROTECT, null=True)
