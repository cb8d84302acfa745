"""Job checks as they were told: what was asked, what was found, and on what that rested."""

import uuid

from django.db import models
from django.db.models import Q

from gear.models import Holder, User
from gear.models.evidence import Sealed


class JobCheck(Sealed):
    """One check of a truck and its crew for a job. It says for ever what it said; another check is another row.

    `asked` and `findings` are inspections.rules.job_kept: codes and plain values, never sentences. `as_of` is the day
    for which it was judged, `back_by` the last day that was entered.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT)
    truck = models.ForeignKey(Holder, models.PROTECT, null=True, related_name="job_checks")
    as_of = models.DateField()
    back_by = models.DateField(null=True)
    asked = models.JSONField()
    findings = models.JSONField()
    verdict = models.CharField(max_length=8)
    rule_pack = models.CharField(max_length=60, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(verdict__in=("good", "stop", "unknown")), name="jobcheck_verdict_known"
            ),
            models.CheckConstraint(
                condition=~Q(verdict="good")
                | Q(back_by__isnull=False, back_by__gte=models.F("as_of"), truck__isnull=False),
                name="jobcheck_good_only_for_a_whole_job",
            ),
        ]
        indexes = [models.Index(fields=["truck", "at"], name="jobcheck_truck_at")]
