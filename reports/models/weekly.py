"""The weekly reports as they were sent: one for each ISO week and scope, with the very bytes of its files."""

import uuid

from django.db import models
from django.db.models import F, Q

from gear.models import User
from gear.models.evidence import Sealed

FILE_TYPES = {
    "pdf": "application/pdf",
    "csv": "text/csv; charset=utf-8",
    "txt": "text/plain; charset=utf-8",
}


class WeeklyReport(Sealed):
    """The report of one week, of the whole book or (`depot` names it) of one depot. It is kept before it is sent.

    `as_of_at` is the moment at which it was due, `known_at` what had been recorded by then counts: the same moment
    where the week was made up later. `totals` are the figures of page one, `recipients` the addresses on the list when
    it was made, `hashes` the SHA-256 of each file by its kind.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")  # nobody: it ran by itself
    week = models.CharField(max_length=8)
    depot = models.CharField(max_length=80, blank=True)
    as_of_at = models.DateTimeField()
    known_at = models.DateTimeField()
    zone = models.CharField(max_length=60)
    rule_pack = models.CharField(max_length=60, blank=True)
    subject = models.CharField(max_length=200)
    totals = models.JSONField(default=dict)
    faulty = models.JSONField(default=list)
    recipients = models.JSONField(default=list)
    hashes = models.JSONField(default=dict)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["week", "depot"], name="weeklyreport_week_depot_unique"),
            models.CheckConstraint(condition=Q(week__contains="-W"), name="weeklyreport_of_an_iso_week"),
            models.CheckConstraint(
                condition=Q(known_at__gte=F("as_of_at")), name="weeklyreport_known_from_its_moment"
            ),
        ]

    def __str__(self):
        return f"{self.week} {self.depot}".strip()


class WeeklyFile(Sealed):
    """One file of a weekly report as it was sent; `txt` is the text of the mail. Its bytes are under its hash."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")  # nobody: it ran by itself
    report = models.ForeignKey(WeeklyReport, models.PROTECT, related_name="files")
    kind = models.CharField(max_length=4)
    name = models.CharField(max_length=80)
    sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField()
    content = models.BinaryField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["report", "kind"], name="weeklyfile_kind_unique"),
            models.CheckConstraint(condition=Q(kind__in=list(FILE_TYPES)), name="weeklyfile_kind_known"),
            models.CheckConstraint(condition=Q(size__gt=0), name="weeklyfile_holds_something"),
        ]
