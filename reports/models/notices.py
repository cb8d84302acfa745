"""Notices to those who can act, as they were written, and what people said of gear that is stopped in hands."""

import uuid

from django.db import models
from django.db.models import Q

from gear.models import Item, User
from gear.models.evidence import Sealed


class Notice(Sealed):
    """One notice to one person on one day of the site. Its number on that day is the claim: nobody else has it.

    `urgent` ones are about gear that is stopped in somebody's hands; of the others there is one a day at most, and it
    is number 0. `told` are the keys of what it says: the same is not new again.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")  # nobody: it ran by itself
    person = models.ForeignKey(User, models.PROTECT, related_name="+")
    day = models.DateField()
    number = models.PositiveIntegerField()
    urgent = models.BooleanField()
    address = models.CharField(max_length=254)
    subject = models.CharField(max_length=200)
    body = models.TextField()
    told = models.JSONField(default=list)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "day", "number"], name="notice_number_unique"),
            models.CheckConstraint(
                condition=Q(urgent=True, number__gte=1) | Q(urgent=False, number=0),
                name="notice_one_digest_a_day",
            ),
            models.CheckConstraint(condition=~Q(body=""), name="notice_says_something"),
        ]
        indexes = [models.Index(fields=["day", "person"], name="notice_day_person")]


class StopConfirmation(Sealed):
    """That a person says: this piece is out of use. `key` names the piece and why it is stopped; other reasons are new.

    It silences notices for a while, or until something is recorded of the piece, and changes no verdict: only a move, a
    release or a test does that.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    key = models.CharField(max_length=200)
    note = models.CharField(max_length=500)

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(note=""), name="stopconfirmation_says_how")]
        indexes = [models.Index(fields=["item", "at"], name="stopconfirmation_item_at")]
