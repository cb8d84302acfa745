"""The whole check of a job: every part judged, the worst on top, and where the nearest fitting piece is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from gear.rules.kits import Need
from gear.rules.readiness import NOTE, UNKNOWN, Rules
from inspections.rules.job import (
    JUMPER,
    Checked,
    Finding,
    Job,
    Offer,
    Thing,
    Want,
    blank_findings,
    checked,
    fault_of,
    with_offers,
)
from inspections.rules.job_cover import cover_findings, exposure_findings, other_findings, stick_findings
from inspections.rules.job_grounds import carries, ground_findings
from inspections.rules.job_people import Person, people_findings
from inspections.rules.job_truck import TruckFacts, truck_findings

MOST_OFFERS = 3
_NEARNESS = ("crew", "shelf", "truck")


@dataclass(frozen=True)
class Crewed:
    """Who goes, with what: the truck, the things aboard, the people with what they hold, and what stays out."""

    truck: TruckFacts | None
    aboard: tuple[Thing, ...] = ()
    people: tuple[Person, ...] = ()
    left_out: frozenset[str] = frozenset()


def check(job: Job, crewed: Crewed, kit: Sequence[Need], rules: Rules, *, as_of: date) -> Checked:
    """The findings about a job on the day `as_of`.

    Everything aboard counts unless it is named in `left_out`: what is aboard may be picked up.
    """
    if rules.pack is None:
        return checked([Finding("job", "PACK_REFUSED", UNKNOWN, {"why": rules.refusal})])
    aboard = [one for one in crewed.aboard if not one.numbers & crewed.left_out]
    stays = sorted(one.name for one in crewed.aboard if one.numbers & crewed.left_out)
    found = [
        *blank_findings(job),
        *exposure_findings(job, rules.pack),
        *people_findings(crewed.people, job, kit, rules.pack),
        *cover_findings(aboard, job, rules.pack),
        *stick_findings(aboard, job),
        *other_findings(aboard, job, rules.pack),
        *ground_findings(aboard, job, rules.pack),
        *truck_findings(crewed.truck, job, as_of=as_of),
    ]
    if job.back_by is not None and job.back_by < as_of:
        found.append(Finding("job", "BACK_IN_THE_PAST", UNKNOWN, {"back_by": job.back_by.isoformat()}))
    if stays:
        found.append(Finding("job", "LEFT_OUT", NOTE, {"things": stays}))
    return checked(found)


def offered(
    found: Checked, things: Iterable[Thing], job: Job, rules: Rules, *, truck: str, crew: str, depot: str
) -> Checked:
    """The same findings, each that wants something with the nearest things elsewhere that would do.

    The crew's own cage first, then shelves and trucks of this depot, then those of the others; of the near ones the
    first to go out of date, so that what lasts longest stays for a longer job.
    """
    usable = [
        one for one in things if not (one.holder.get("kind") == "truck" and one.holder.get("name") == truck)
    ]
    by_want: dict[Want, list[Offer]] = {}
    findings = []
    for finding in found.findings:
        if finding.want is not None and finding.want not in by_want:
            fits = [one for one in usable if _fits(one, finding.want, job, rules)]
            fits.sort(key=lambda one: _nearness(one, crew=crew, depot=depot))
            by_want[finding.want] = [_offer(one) for one in fits[:MOST_OFFERS]]
        findings.append(with_offers(finding, by_want[finding.want]) if finding.want else finding)
    return Checked(tuple(findings))


def _fits(thing: Thing, want: Want, job: Job, rules: Rules) -> bool:
    if thing.kind != want.kind or (want.classes is not None and thing.cls not in want.classes):
        return False
    if want.kind == "glove" and (not want.size or thing.size != want.size):
        return False
    if want.kind in ("glove", "sleeve") and len(thing.pieces) != 2:
        return False
    if want.kind == JUMPER:
        if rules.pack is None or thing.pieces[0].set_no is None:
            return False
        if carries(thing, job, rules.pack).holds is not True:
            return False
    return fault_of(thing, job, part="load") is None


def _nearness(thing: Thing, *, crew: str, depot: str) -> tuple:
    holder: Mapping = thing.holder
    own = holder.get("kind") == "crew" and bool(crew) and holder.get("name") == crew
    near = bool(depot) and holder.get("depot") == depot
    kind = str(holder.get("kind"))
    rank = _NEARNESS.index(kind) if kind in _NEARNESS else len(_NEARNESS)
    return (not own, not near, rank, thing.last_day or date.max, thing.name)


def _offer(thing: Thing) -> Offer:
    return Offer(thing.name, thing.cls, dict(thing.holder), thing.last_day)
