"""Who is mailed and when, and every attempt to hand a mail to the mail server. The newest row of each counts."""

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from gear.models import Depot, User
from gear.models.evidence import Sealed
from reports.rules.retrying import OUTCOMES

OUTCOME_NAMES = {
    "accepted": _("taken by the mail server"),
    "later": _("not taken, to be tried again"),
    "refused": _("refused"),
}


class MailAddress(Sealed):
    """That an address gets the weekly report from now on, or no longer. Supervisors get it without being listed.

    With a depot it gets the report of that depot alone.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    address = models.CharField(max_length=254)
    depot = models.ForeignKey(Depot, models.PROTECT, null=True, related_name="+")
    mailed = models.BooleanField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(address__contains="@"), name="mailaddress_has_an_at_sign")
        ]


class MailPlan(Sealed):
    """From which hour on Monday the report is due, and in which hours no notice is sent that can wait."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    monday_hour = models.PositiveSmallIntegerField()
    quiet_from = models.PositiveSmallIntegerField()
    quiet_until = models.PositiveSmallIntegerField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(monday_hour__lte=23, quiet_from__lte=23, quiet_until__lte=23),
                name="mailplan_hours_of_a_day",
            )
        ]


class MailAttempt(Sealed):
    """That a process set about handing one mail to the mail server. Its number is the claim: nobody else has it.

    Until `lease_until` nobody begins another attempt at the same mail. Where no MailOutcome followed, the process
    ended in between and the mail may have arrived.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")  # nobody: it ran by itself
    report = models.ForeignKey("reports.WeeklyReport", models.PROTECT, null=True, related_name="attempts")
    notice = models.ForeignKey("reports.Notice", models.PROTECT, null=True, related_name="attempts")
    address = models.CharField(max_length=254)
    message_id = models.CharField(max_length=200)
    number = models.PositiveIntegerField()
    lease_until = models.DateTimeField()
    process = models.CharField(max_length=80, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["message_id", "number"], name="mailattempt_number_unique"),
            models.CheckConstraint(condition=Q(number__gte=1), name="mailattempt_number_from_one"),
            models.CheckConstraint(
                condition=Q(report__isnull=True, notice__isnull=False)
                | Q(report__isnull=False, notice__isnull=True),
                name="mailattempt_of_one_mail",
            ),
        ]


class MailOutcome(Sealed):
    """What came of an attempt, kept once the mail server had spoken or failed to. `detail` is its own words."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")  # nobody: it ran by itself
    attempt = models.OneToOneField(MailAttempt, models.PROTECT, related_name="outcome")
    outcome = models.CharField(max_length=8, choices=list(OUTCOME_NAMES.items()))
    detail = models.CharField(max_length=500, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(outcome__in=OUTCOMES), name="mailoutcome_outcome_known"),
            models.CheckConstraint(
                condition=Q(outcome="accepted") | ~Q(detail=""), name="mailoutcome_failure_says_why"
            ),
        ]
