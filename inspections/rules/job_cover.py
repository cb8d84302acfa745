"""What is aboard against the voltage: rubber cover by maximum use, rigid cover by its own basis, and the exposure."""

from __future__ import annotations

from collections.abc import Iterable

from gear.rules.packs import RulePack
from gear.rules.readiness import GOOD, HANDED, NOTE, STOP, UNKNOWN
from inspections.rules.job import (
    GLOVES,
    JUMPER,
    MULTIPHASE,
    RIGID_COVER,
    RUBBER_COVER,
    STICK,
    STICKS,
    TO_GROUND,
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

# The note to the table of use voltages, read in part; its wording is from memory and shown as to be confirmed.
TO_GROUND_NOTE = {
    "value": "phase-to-ground",
    "unit": "",
    "source": "29 CFR 1910.137",
    "clause": "Table I-4, note 1 (wording from memory)",
    "confirm": True,
}
BRUSH_CONTACT = {
    "value": "brush contact",
    "unit": "",
    "source": "ASTM F712",
    "clause": "scope and notes",
    "confirm": True,
}
COVER = (*RUBBER_COVER, RIGID_COVER)


def exposure_findings(job: Job, pack: RulePack) -> list[Finding]:
    """The voltage that counts, the lowest class of gloves that covers it, and the condition it rests on."""
    if job.exposure_v is None:
        return []
    values = {"system_v": job.system_v, "exposure_v": job.exposure_v, "exposure": job.exposure}
    found = []
    if job.exposure == TO_GROUND:
        found.append(Finding("voltage", "TO_GROUND_CONDITION", NOTE, values, (TO_GROUND_NOTE,)))
    classes = covering_classes("glove", job, pack)
    if classes:
        figure = limit_of("glove", classes[0], job, pack)
        assert figure is not None
        needed = {**values, "class": classes[0]}
        found.append(Finding("voltage", "CLASS_NEEDED", NOTE, needed, (cited(figure, "V"),)))
    elif job.method == GLOVES:
        highest = pack.classes_of("glove")[-1]
        limit = pack.max_use_v("glove", highest)
        figures = (cited(limit, "V"),) if limit else ()
        found.append(Finding("voltage", "NO_CLASS_COVERS", STOP, {**values, "class": highest}, figures))
    else:
        found.append(Finding("voltage", "NO_CLASS_COVERS", NOTE, {**values, "class": ""}))
    return found


def cover_findings(aboard: Iterable[Thing], job: Job, pack: RulePack) -> list[Finding]:
    """Every piece of cover aboard: rated for the exposure, good today, and good through the back-by day."""
    cover = [one for one in aboard if one.kind in COVER]
    found = [_rated(one, job, pack) or fault_of(one, job, part="load") for one in cover]
    findings = [_wanting(one, job, pack) for one in found if one]
    fits = [one for one, problem in zip(cover, found, strict=True) if problem is None]
    findings += _summed(fits, job, pack)
    if any(one.kind == RIGID_COVER for one in cover):
        findings.append(Finding("cover", "BRUSH_CONTACT", NOTE, {}, (BRUSH_CONTACT,)))
    if not cover:
        findings.append(Finding("cover", "NO_COVER", NOTE))
    return findings


def stick_findings(aboard: Iterable[Thing], job: Job) -> list[Finding]:
    """With sticks there is at least one live-line tool aboard that counts, and none that does not."""
    if job.method != STICK:
        return []
    sticks = [one for one in aboard if one.kind == STICKS]
    problems = [(one, fault_of(one, job, part="load")) for one in sticks]
    findings = [_wanting_kind(problem, STICKS) for _one, problem in problems if problem]
    fits = [one for one, problem in problems if problem is None]
    if not fits:
        want = Want(STICKS)
        findings.append(Finding("load", "NO_LIVE_LINE_TOOL", STOP, {}, (practice("live-line tool"),), want))
    return findings + ([_good(STICKS, "", fits)] if fits else [])


def other_findings(aboard: Iterable[Thing], job: Job, pack: RulePack) -> list[Finding]:
    """What else is aboard, spare gloves among it: it may be picked up, so it is judged too. Only faults are told."""
    findings = []
    for one in aboard:
        if one.kind in (*COVER, JUMPER) or (one.kind == STICKS and job.method == STICK):
            continue
        worn = one.kind in HANDED and job.method == GLOVES
        problem = (_rated(one, job, pack) if worn else None) or fault_of(one, job, part="load")
        if problem and worn:
            findings.append(_wanting(problem, job, pack))
        elif problem:
            findings.append(_wanting_kind(problem, one.kind))
    return findings


def _rated(thing: Thing, job: Job, pack: RulePack) -> Finding | None:
    """Whether the class of a thing covers the exposure; None where it does, or where no exposure was entered."""
    if job.exposure_v is None:
        return None
    limit = limit_of(thing.kind, thing.cls, job, pack)
    values = told(thing, exposure_v=job.exposure_v, exposure=job.exposure)
    if limit is None:
        return Finding("cover", "NO_RATING", UNKNOWN, values)
    if job.covered_by(limit.value) is True:  # type: ignore[arg-type]
        return None
    basis = "covered" if thing.kind == RIGID_COVER else "max_use"
    return Finding("cover", "TOO_LOW", STOP, {**values, "basis": basis}, (cited(limit, "V"),))


def _wanting(finding: Finding, job: Job, pack: RulePack) -> Finding:
    """A finding with what would stand in for the thing: the same kind in a class that covers the exposure."""
    kind = finding.values["kind"]
    return _wanting_kind(finding, kind, covering_classes(kind, job, pack))


def _wanting_kind(finding: Finding, kind: str, classes: tuple[str, ...] | None = None) -> Finding:
    want = Want(kind, classes)
    return Finding(finding.part, finding.code, finding.verdict, finding.values, finding.figures, want)


def _summed(fits: Iterable[Thing], job: Job, pack: RulePack) -> list[Finding]:
    """What fits, one line for each kind and class."""
    if job.exposure_v is None:
        return []
    groups: dict[tuple[str, str], list[Thing]] = {}
    for one in fits:
        groups.setdefault((one.kind, one.cls), []).append(one)
    findings = []
    for (kind, cls), things in sorted(groups.items()):
        limit = limit_of(kind, cls, job, pack)
        basis = "to_ground" if kind == RIGID_COVER and job.exposure != MULTIPHASE else ""
        figures = (cited(limit, "V"),) if limit else ()
        findings.append(_good(kind, cls, things, figures=figures, basis=basis))
    return findings


def _good(kind: str, cls: str, things: list[Thing], *, figures: tuple = (), basis: str = "") -> Finding:
    """Things that fit, with the earliest of their last days and each by name: the basis of the answer is kept."""
    days = [one.last_day for one in things if one.last_day]
    values = {
        "kind": kind,
        "class": cls,
        "basis": basis,
        "count": len(things),
        "last_day": min(days).isoformat() if days else "",
        "things": {one.name: one.last_day.isoformat() if one.last_day else "" for one in things},
    }
    return Finding("cover" if cls else "load", "FITS", GOOD, values, figures)
