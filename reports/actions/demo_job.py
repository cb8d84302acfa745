"""The demo's trucks as barriers, and the job that crew 7 is sent to: what a job check finds is all there on purpose."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal

from gear.actions.acting import Act
from gear.models import Holder
from gear.queries import question
from inspections.actions.jobs import keep_job_check, record_truck
from inspections.queries.jobs import members_of, trucks
from inspections.rules.job import GLOVES, MULTIPHASE, SINGLE, Job
from inspections.rules.job_truck import TruckFacts

RATED_V = 46_000
OVERDUE, OUT_SOON, BARE = "T-05", "T-08", ("T-29", "T-30")
MakeAct = Callable[..., Act]


def trucks_and_job(today: date, act: MakeAct) -> None:
    """Told after gear and crews are there. `act(username)` is something that somebody does now."""
    for number, truck in enumerate(trucks()):
        record_truck(truck, _facts(truck.name, number, today), act=act("orla"))
    _checked(Holder.objects.get(kind="truck", name="T-12"), today, act)


def _facts(name: str, number: int, today: date) -> TruckFacts:
    """One boom test has run out, one runs out within days, two trucks are not insulated, the rest is in date."""
    if name in BARE:
        return TruckFacts(name, True, False)
    days = {OVERDUE: -6, OUT_SOON: 4}.get(name, 40 + number * 9)
    boom = today + timedelta(days=days)
    liner = today + timedelta(days=30 + number * 7)
    return TruckFacts(name, True, True, RATED_V, boom, number % 3 == 0, liner if number % 3 == 0 else None)


def _checked(truck: Holder, today: date, act: MakeAct) -> None:
    """24.9 kV, multiphase, with rubber gloves, 13.2 kA, 18 cycles, back in six days."""
    job = Job(
        system_v=24_900,
        exposure=MULTIPHASE,
        method=GLOVES,
        sites=1,
        grounding=SINGLE,
        x_over_r=Decimal("1.6"),
        fault_ka=Decimal("13.2"),
        primary_cycles=12,
        backup_cycles=18,
        back_by=today + timedelta(days=6),
    )
    keep_job_check(job, truck=truck, crew=members_of(truck, question()), left_out=(), act=act("bertrand"))
