"""The truck as a barrier: insulated or not, what its boom is rated for, and whether its tests last."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from gear.rules.readiness import GOOD, STOP, UNKNOWN
from inspections.rules.job import Finding, Job, practice


@dataclass(frozen=True)
class TruckFacts:
    """What the newest record of a truck says. Voltages in V phase-to-phase; days are last good days."""

    name: str
    on_record: bool = False
    insulated: bool = False
    boom_rated_v: int | None = None
    boom_good_through: date | None = None
    has_liner: bool = False
    liner_good_through: date | None = None


def truck_findings(truck: TruckFacts | None, job: Job, *, as_of: date) -> list[Finding]:
    """The boom rated for the system voltage and in date through the back-by day, and so the liner where there is one.

    A boom is compared with the voltage phase-to-phase whatever the exposure: the stricter reading. Common practice, no
    source, for all of it but the dates, which are those that were entered.
    """
    if truck is None:
        return [Finding("truck", "NO_TRUCK", UNKNOWN)]
    values: dict[str, Any] = {"truck": truck.name}
    if not truck.on_record:
        return [Finding("truck", "TRUCK_NOT_ON_RECORD", UNKNOWN, values)]
    if not truck.insulated:
        return [Finding("truck", "NOT_INSULATED", STOP, values, (practice("insulated boom"),))]
    found = [*_rating(truck, job), *_dated("BOOM", truck.name, truck.boom_good_through, job, as_of)]
    if truck.has_liner:
        found += _dated("LINER", truck.name, truck.liner_good_through, job, as_of)
    return found


def _rating(truck: TruckFacts, job: Job) -> list[Finding]:
    if truck.boom_rated_v is None:
        return [Finding("truck", "BOOM_NOT_RATED", UNKNOWN, {"truck": truck.name})]
    if job.system_v is None:
        return []
    values = {"truck": truck.name, "rated_v": truck.boom_rated_v, "system_v": job.system_v}
    figures = (practice(truck.boom_rated_v, "V"),)
    if job.system_v <= truck.boom_rated_v:
        return [Finding("truck", "BOOM_RATED", GOOD, values, figures)]
    return [Finding("truck", "BOOM_TOO_LOW", STOP, values, figures)]


def _dated(what: str, name: str, last: date | None, job: Job, as_of: date) -> list[Finding]:
    if last is None:
        return [Finding("truck", f"{what}_NOT_DATED", UNKNOWN, {"truck": name})]
    values: dict[str, Any] = {"truck": name, "last_day": last.isoformat()}
    figures = (practice("test interval of the employer"),)
    if last < as_of:
        return [Finding("truck", f"{what}_OUT_OF_DATE", STOP, values, figures)]
    if job.back_by is None:
        return []
    values |= {"back_by": job.back_by.isoformat(), "day": (last - as_of).days + 1}
    if last < job.back_by:
        return [Finding("truck", f"{what}_OUT_BEFORE_RETURN", STOP, values, figures)]
    return [Finding("truck", f"{what}_IN_DATE", GOOD, values, figures)]
