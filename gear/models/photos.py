"""Photos that ride on entries: what was stored, and the hash by which a change of the file shows."""

import uuid

from django.db import models
from django.db.models import Q

from gear.models.book import Item
from gear.models.evidence import Entry, Sealed
from gear.models.people import User


class Photo(Sealed):
    """One photo of an entry, made anew from what was sent: `sha256` and `size` are of the file under `path`.

    `id` is the client's, `by` whoever made the entry. `taken_at` is what the camera or the phone said; None where
    neither said anything that could be.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True)
    item = models.ForeignKey(Item, models.PROTECT)
    entry = models.ForeignKey(Entry, models.PROTECT)
    device = models.CharField(max_length=80, blank=True)
    taken_at = models.DateTimeField(null=True)
    path = models.CharField(max_length=100, unique=True)
    sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField()
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(path=""), name="photo_file_named"),
            models.CheckConstraint(
                condition=Q(size__gte=1, width__gte=1, height__gte=1), name="photo_shows_something"
            ),
        ]
        indexes = [models.Index(fields=["by", "at"], name="photo_by")]
