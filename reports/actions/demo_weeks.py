"""What the demo's bench and lab take in a week, and the week in which the bench is closed."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

from fixtures.demo import people
from gear.actions.acting import Act
from gear.models import Depot, Holder
from reports.actions.capacity import state_capacity

BENCH, OF_BENCH, GLOVES_OF_LAB, CLOSED_IN = "Tannery Road bench", 60, 30, 3  # weeks from now


def capacities(today: date, act: Callable[..., Act]) -> None:
    """State them in the supervisor's name, as of some weeks ago."""
    depot = Depot.objects.get(name=people.DEPOTS[0])
    bench = Holder.objects.get_or_create(kind="bench", name=BENCH, defaults={"depot": depot})[0]
    lab = Holder.objects.get(kind="lab", name=people.LAB)
    first, closed = today - timedelta(weeks=8), today + timedelta(weeks=CLOSED_IN)
    for place, kind, pieces, last, note in (
        (bench, "", OF_BENCH, None, ""),
        (lab, "glove", GLOVES_OF_LAB, None, "by contract"),
        (bench, "", 0, closed, "bench closed for its calibration"),
    ):
        begins = closed if last else first
        state_capacity(place, kind=kind, pieces=pieces, first=begins, last=last, note=note, act=act("ines"))
