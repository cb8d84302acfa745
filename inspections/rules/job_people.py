"""Whether each person of a crew has what the job asks for: gloves and sleeves in their class, protectors."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from gear.rules.kits import Need
from gear.rules.packs import RulePack
from gear.rules.readiness import GOOD, NOTE, STOP, UNKNOWN
from inspections.rules.job import (
    GLOVES,
    METHODS,
    PROTECTOR,
    Finding,
    Job,
    Thing,
    Want,
    cited,
    covering_classes,
    fault_of,
    limit_of,
    practice,
    told,
)


@dataclass(frozen=True)
class Person:
    """One of the crew with the pairs and protectors in their hands. `size` is that of their gloves, "" if unknown."""

    name: str
    size: str = ""
    things: tuple[Thing, ...] = ()


def people_findings(crew: Sequence[Person], job: Job, kit: Sequence[Need], pack: RulePack) -> list[Finding]:
    """Person by person: the pair of gloves, the sleeves and the protectors that the site's kit names."""
    if not crew:
        return [Finding("people", "NO_CREW", UNKNOWN)]
    if job.method not in METHODS or job.exposure_v is None:
        return []
    found = []
    for person in crew:
        for kind in ("glove", "sleeve"):
            found += _pair_findings(person, kind, job, kit, pack)
        found += _protector_findings(person, job, kit)
    return found


def classes_asked(kind: str, job: Job, kit: Sequence[Need], pack: RulePack) -> tuple[str, ...] | None:
    """The classes of gloves or sleeves that count; None where none is asked for.

    Rubber-glove work asks for gloves that cover the exposure, and for sleeves where the kit names any. With sticks it
    is the kit that says which gloves and sleeves are worn: its highest class or a higher one.
    """
    named = [need.cls for need in kit if need.kind == kind]
    if job.method == GLOVES:
        return covering_classes(kind, job, pack) if named or kind == "glove" else None
    if not named:
        return None
    known = pack.classes_of(kind)
    lowest = max((known.index(cls) for cls in named if cls in known), default=0)
    return known[lowest:]


def _pair_findings(person: Person, kind: str, job: Job, kit: Sequence[Need], pack: RulePack) -> list[Finding]:
    classes = classes_asked(kind, job, kit, pack)
    if classes is None:
        return []
    held = [one for one in person.things if one.kind == kind]
    ready, findings = [], []
    for one in held:
        problem = _problem(one, person, classes, job, pack)
        if problem is None:
            ready.append(one)
        else:
            findings.append(problem)
    size = person.size if kind == "glove" else ""
    if kind == "glove" and not size:
        findings.append(Finding("people", "SIZE_NOT_STATED", UNKNOWN, {"person": person.name}))
    want = Want(kind, classes, size)
    if ready:
        return _ready(person, ready, findings, job, pack)
    if not held:
        values = {"person": person.name, "kind": kind, "size": size, "class": classes[0] if classes else ""}
        figures = () if kind == "glove" else (practice("the site's kit"),)
        findings.append(Finding("people", "PAIR_NONE", STOP, values, figures, want))
    return [_with(one, want, person) for one in _too_low_as_one(findings)]


def _problem(
    thing: Thing, person: Person, classes: tuple[str, ...], job: Job, pack: RulePack
) -> Finding | None:
    """Why a pair in somebody's hands does not count for this job."""
    if thing.cls not in pack.classes_of(thing.kind):
        return Finding("people", "PAIR_NO_CLASS", UNKNOWN, told(thing))
    if thing.cls not in classes:
        limit = limit_of(thing.kind, thing.cls, job, pack)
        figures = (cited(limit, "V"),) if limit and job.method == GLOVES else (practice("the site's kit"),)
        values = told(thing, exposure_v=job.exposure_v, needed=classes[0] if classes else "")
        return Finding("people", "PAIR_TOO_LOW", STOP, values, figures)
    if thing.kind == "glove" and person.size and thing.size != person.size:
        return Finding("people", "PAIR_OTHER_SIZE", STOP, told(thing, size=thing.size, wanted=person.size))
    if len(thing.pieces) != 2:
        return Finding("people", "PAIR_ODD", STOP, told(thing))
    return fault_of(thing, job, part="people")


def _ready(
    person: Person, ready: Sequence[Thing], against: Iterable[Finding], job: Job, pack: RulePack
) -> list[Finding]:
    """The pair that lasts longest counts; what else the person has is only told, to be left out of the work."""
    best = max(ready, key=lambda one: (one.last_day is None, one.last_day or job.back_by, one.name))
    limit = limit_of(best.kind, best.cls, job, pack)
    figures = (cited(limit, "V"),) if limit and job.method == GLOVES else ()
    good = Finding("people", "PAIR_FITS", GOOD, told(best, person=person.name, size=best.size), figures)
    unsized = [one for one in against if one.code == "SIZE_NOT_STATED"]
    left = {str(one.values["thing"]): one.code for one in against if one.code != "SIZE_NOT_STATED"}
    if not left:
        return [good, *unsized]
    values = {"person": person.name, "kind": best.kind, "left": left}
    return [good, *unsized, Finding("people", "LEAVE", NOTE, values)]


def _too_low_as_one(findings: Sequence[Finding]) -> list[Finding]:
    """What is too low in class told once, all of it together, by the figure of the highest class among it."""
    low = [one for one in findings if one.code == "PAIR_TOO_LOW"]
    if not low:
        return list(findings)
    highest = max(
        low, key=lambda one: (len(one.values["class"]) != 2, one.values["class"])
    )  # 00 is the lowest
    things = {one.values["thing"]: one.values["class"] for one in low}
    merged = Finding("people", "PAIR_TOO_LOW", STOP, {**highest.values, "things": things}, highest.figures)
    return [merged, *(one for one in findings if one.code != "PAIR_TOO_LOW")]


def _with(finding: Finding, want: Want, person: Person) -> Finding:
    values: dict[str, Any] = {**finding.values, "person": person.name}
    return Finding(finding.part, finding.code, finding.verdict, values, finding.figures, want)


def _protector_findings(person: Person, job: Job, kit: Sequence[Need]) -> list[Finding]:
    """As many protectors as the site's kit names. Common practice, no source, for how many these are."""
    needed = sum(need.count for need in kit if need.kind == PROTECTOR)
    if not needed:
        return []
    held = [one for one in person.things if one.kind == PROTECTOR]
    problems = [fault_of(one, job, part="people") for one in held]
    ready = sum(problem is None for problem in problems)
    values = {"person": person.name, "ready": ready, "needed": needed}
    figures = (practice("the site's kit"),)
    if ready < needed:
        classes = tuple(need.cls for need in kit if need.kind == PROTECTOR)
        want = Want(PROTECTOR, None if "" in classes else classes)
        return [Finding("people", "PROTECTORS_SHORT", STOP, values, figures, want)]
    return [Finding("people", "PROTECTORS_FIT", GOOD, values, figures)]
