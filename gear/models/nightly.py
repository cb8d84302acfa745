"""What ran at night and what came of it."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from gear.models.evidence import AppendOnly

# In the order in which they run.
STEP_NAMES = {
    "seal": _("Seal of the day"),
    "ledger": _("Record, photos and seals"),
    "states": _("Lists against entries"),
    "database": _("Database file"),
    "photos": _("Photos without a record"),
    "backup": _("Backup, restored and proven"),
}


class NightlyResult(AppendOnly):
    """What came of one step of one night. `run` is the same for the steps of a night, `sentence` what it said."""

    run = models.UUIDField()
    at = models.DateTimeField()
    step = models.CharField(max_length=12, choices=list(STEP_NAMES.items()))
    ok = models.BooleanField()
    sentence = models.CharField(max_length=1000)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(step__in=list(STEP_NAMES)), name="nightlyresult_step_known"),
            models.CheckConstraint(condition=~Q(sentence=""), name="nightlyresult_says_something"),
            models.UniqueConstraint(fields=["run", "step"], name="nightlyresult_once_unique"),
        ]
        indexes = [models.Index(fields=["at"], name="nightlyresult_at")]
