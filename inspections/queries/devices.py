"""Phones and tablets as whoever manages them sees them."""

from __future__ import annotations

from datetime import timedelta

from django.db.models import Q, QuerySet

from gear.models import Depot
from inspections.models import Device

STALE_AFTER = timedelta(days=3)  # common practice, no source: a shift, its rest days, and one more
KEPT_ON_PHONES = timedelta(
    days=30
)  # how long a phone keeps what it has sent (static/inspections/field/delivered.js)
MOST_SHOWN = 500


def devices_in(depot: Depot | None) -> QuerySet[Device]:
    """The devices of a depot, or all of them: what is in use first, the longest silent first."""
    found = Device.objects.select_related("person", "depot", "added_by", "revoked_by")
    if depot is not None:
        found = found.filter(Q(depot=depot) | Q(person__depot=depot) | Q(person__crew__depot=depot))
    return found.order_by("revoked_at", "last_seen_at", "name")
