"""Moments as people read them."""

from __future__ import annotations

from datetime import datetime

from django.utils import timezone

from gear import wording


def moment(at: datetime) -> str:
    """`25 NOV 2026 05:52 EST`, in the zone of the site."""
    local = timezone.localtime(at)
    return f"{wording.day(local.date())} {local:%H:%M} {local.tzname()}"
