"""How large an export of everything would be."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Sum

from gear.models import Entry, Item, Photo, Seal

PACKED = 190  # bytes of the zip for each entry, the other tables and the lists in it; measured on the demo


@dataclass(frozen=True)
class Estimate:
    """`size` is in bytes, estimated; `seal` the newest one as it is printed, or nothing."""

    items: int
    entries: int
    photos: int
    size: int
    seal: str


def estimate() -> Estimate:
    """Counted in four statements."""
    entries, seal = Entry.objects.count(), Seal.objects.order_by("-number").first()
    photos = Photo.objects.aggregate(size=Sum("size", default=0))["size"]
    return Estimate(
        items=Item.objects.count(),
        entries=entries,
        photos=Photo.objects.count(),
        size=entries * PACKED + photos,
        seal=f"{seal.number}:{seal.hash}" if seal else "",
    )
