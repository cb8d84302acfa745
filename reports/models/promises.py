"""Who closes an open line of the weekly report, and by when."""

from __future__ import annotations

import uuid

from django.db import models

from gear.models import Item, User
from gear.models.evidence import Sealed


class Promise(Sealed):
    """That a piece which is not good and could be used is taken care of by `owner` on `promised_on`.

    The newest row of a piece counts, as long as the piece stays what it was: what ends is worked out when it is read.
    No verdict and no date rests on it.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    item = models.ForeignKey(Item, models.PROTECT, related_name="promises")
    owner = models.ForeignKey(User, models.PROTECT, related_name="+")
    promised_on = models.DateField()
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [models.Index(fields=["item", "at"], name="promise_item_at")]

    def __str__(self) -> str:
        return f"{self.item}: {self.owner}, {self.promised_on}"
