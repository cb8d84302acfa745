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

MOST_OFFERS = 2
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
    here = [one for one in crewed.aboard if not _gone(one)]
    aboard = [one for one in here if not one.numbers & crewed.left_out]
    stays = sorted(one.name for one in here if one.numbers & crewed.left_out)
    gone = sorted(one.name for one in crewed.aboard if _gone(one))
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
    if gone:
        found.append(Finding("job", "GONE", NOTE, {"things": gone}))
    return checked(found)


def _gone(thing: Thing) -> bool:
    """Whether nothing of a thing can be picked up: all of it is lost or destroyed, and only the record has it there."""
    return all(one.lost or one.destroyed for one in thing.pieces)


def offered(
    found: Checked, things: Iterable[Thing], job: Job, rules: Rules, *, truck: str, crew: str, depot: str
) -> Checked:
    """The same findings, each that wants something with the nearest things elsewhere that would do.

    The crew's own cage first, then shelves and trucks of this depot, then those of the others; of the near ones the
    first to go out of date, so that what lasts longest stays for a longer job. What is named first for one person or
    piece is not named again for another; one grounding set may close several findings.
    """
    found_in = [one for one in things if not (_aboard(one, truck) or one.owned)]
    by_want: dict[Want, list[Thing]] = {}
    named: set[str] = set()
    findings = []
    for finding in found.findings:
        want = finding.want
        if want is None:
            findings.append(finding)
            continue
        if want not in by_want:
            fits = [one for one in found_in if _fits(one, want, job, rules)]
            by_want[want] = sorted(fits, key=lambda one: _nearness(one, crew=crew, depot=depot))
        offers = [one for one in by_want[want] if one.name not in named][:MOST_OFFERS]
        if want.kind != JUMPER:
            named |= {one.name for one in offers[:1]}
        findings.append(with_offers(finding, [_offer(one) for one in offers]))
    return Checked(tuple(findings))


def _aboard(thing: Thing, truck: str) -> bool:
    return thing.holder.get("kind") == "truck" and thing.holder.get("name") == truck


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
