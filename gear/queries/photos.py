"""Photos of entries, for whoever may see them."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from uuid import UUID

from django.core.files.storage import default_storage
from django.db.models import Q, QuerySet

from gear.models import Depot, Item, Photo, User
from gear.rules.fold import ItemFacts


class PhotoBroken(Exception):
    """The file of a photo is gone, or is not the one that was stored."""


def visible(to: User, *, depot: Depot | None) -> QuerySet[Photo]:
    """The photos that a person may see: all, or where a depot binds them, of its gear, of its people, and their own."""
    if depot is None:
        return Photo.objects.all()
    of_depot = Q(item__state__holder__depot=depot) | Q(by__depot=depot) | Q(by__crew__depot=depot)
    return Photo.objects.filter(of_depot | Q(by=to))


def by_entry(items: Sequence[Item], *, to: User, depot: Depot | None) -> Mapping[UUID, list[Photo]]:
    """The visible photos of some items under their entries, in the order in which they came. One query."""
    found: dict[UUID, list[Photo]] = {}
    for photo in visible(to, depot=depot).filter(item__in=items).order_by("at", "pk"):
        found.setdefault(photo.entry_id, []).append(photo)
    return found


def against(item: Item, facts: ItemFacts, *, to: User, depot: Depot | None) -> list[Photo]:
    """The visible photos of the entries that bar use of an item now. One query, none where nothing does."""
    flags = (
        facts.rejected,
        facts.damaged,
        facts.failed,
        facts.out_for_test,
        facts.needs_cleaning,
        facts.lost,
    )
    entries = [flag.entry for flag in (*flags, *facts.holds, *facts.voided) if flag]
    if not entries:
        return []
    return list(visible(to, depot=depot).filter(item=item, entry__in=entries).order_by("at", "pk"))


def content_of(photo: Photo) -> bytes:
    """The file of a photo as it was stored. Raises PhotoBroken for one that is gone or was changed."""
    try:
        with default_storage.open(photo.path) as file:
            data = file.read()
    except OSError:
        raise PhotoBroken from None
    if hashlib.sha256(data).hexdigest() != photo.sha256:
        raise PhotoBroken
    return data
