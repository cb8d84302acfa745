"""Grounding sets against a fault: the weakest component, the next longer tabulated duration, one or two to a site."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from gear.rules.packs import HIGH_XR_GRADES, RulePack
from gear.rules.ratings import Grade, grade_of_jumper, grade_of_set
from gear.rules.readiness import GOOD, NOTE, STOP, UNKNOWN
from inspections.rules.grounding import SYMMETRICAL_X_OVER_R, check_withstand
from inspections.rules.job import (
    GROUNDING,
    JUMPER,
    PARALLEL,
    Finding,
    Job,
    Thing,
    Want,
    cited,
    fault_of,
    practice,
    told,
)

LONGEST_CYCLES = 30
H_RATED_X_OVER_R = Decimal(30)  # what ASTM F855 rates the high X/R grades at; beyond it nothing is tabulated


@dataclass(frozen=True)
class Carries:
    """Whether a set, or two equal sets side by side, carries the fault. `holds` is None where no table says."""

    holds: bool | None
    code: str = ""
    grade: str = ""
    kiloamperes: Decimal | None = None
    figures: tuple[dict[str, Any], ...] = ()


def grade_of(thing: Thing, pack: RulePack) -> Grade:
    """The grade of the weakest component of any jumper of a set (ASTM F855, 43.1.6)."""
    return grade_of_set(
        grade_of_jumper(
            cable_size=one.identity.get("cable_size"),
            clamp_grade=one.identity.get("clamp_grade"),
            ferrule_grade=one.identity.get("ferrule_grade"),
            pack=pack,
        )
        if one.kind == JUMPER
        else None
        for one in thing.pieces
    )


def fault_entered(job: Job) -> bool:
    """Whether everything is there that a set is judged against."""
    stated = (job.fault_ka, job.cycles, job.x_over_r)
    return all(value is not None for value in stated) and job.grounding in GROUNDING


def carries(thing: Thing, job: Job, pack: RulePack) -> Carries:
    """Whether one set carries the fault alone or, where two go to each site, as one of two equal ones."""
    if not fault_entered(job):
        return Carries(None, "FAULT_NOT_STATED")
    assert job.fault_ka is not None
    assert job.cycles is not None
    assert job.x_over_r is not None
    grade = grade_of(thing, pack)
    if grade.grade is None:
        return Carries(None, grade.code)
    if job.cycles > LONGEST_CYCLES:
        return Carries(None, "ASK_ENGINEERING", grade.grade)
    if not job.x_over_r <= H_RATED_X_OVER_R:
        return Carries(None, "X_OVER_R_BEYOND_TABLE", grade.grade)
    if job.grounding == PARALLEL:
        return _as_one_of_two(thing, grade.grade, job, pack)
    fault = {"kiloamperes": job.fault_ka, "cycles": job.cycles, "x_over_r": job.x_over_r}
    found = check_withstand(grade.grade, **fault, pack=pack)  # type: ignore[arg-type]
    if found.figure is None:
        return Carries(None, found.code, grade.grade)
    withstand = Decimal(found.figure.value)  # type: ignore[arg-type]
    return Carries(found.holds, "", grade.grade, withstand, (cited(found.figure, "kA"),))


def _as_one_of_two(thing: Thing, grade: str, job: Job, pack: RulePack) -> Carries:
    """Two equal sets: the lower of twice one less 10 % (UFC 3-560-01) and what ASTM F855 tabulates for two cables.

    By the weakest component, for two strong cables in weak clamps are no stronger than these.
    """
    assert job.fault_ka is not None
    assert job.x_over_r is not None
    if grade in HIGH_XR_GRADES or not job.x_over_r <= SYMMETRICAL_X_OVER_R:
        return Carries(None, "NO_PARALLEL_AT_HIGH_X_OVER_R", grade)
    single = pack.withstand_ka(grade, job.cycles)
    if single is None:
        return Carries(None, "NO_TABULATED_DURATION", grade)
    derate = pack.parallel_factor("derate")
    kiloamperes = 2 * Decimal(single.value) * Decimal(derate.value)  # type: ignore[arg-type]
    figures = [cited(single, "kA"), cited(derate, "")]
    sizes = {str(one.identity.get("cable_size")) for one in thing.pieces}
    for size in sorted(sizes):
        tabulated = pack.withstand_ka(pack.parallel_grade(size), job.cycles)
        if tabulated is not None:
            kiloamperes = min(kiloamperes, Decimal(tabulated.value))  # type: ignore[arg-type]
            figures.append(cited(tabulated, "kA"))
    return Carries(job.fault_ka <= kiloamperes, "", grade, kiloamperes, tuple(figures))


def alike(thing: Thing) -> tuple[tuple[str, str], ...] | None:
    """Cable size and length of each jumper: what two sets in parallel must have in common. None if not all stated."""
    found = []
    for one in thing.pieces:
        size, length = one.identity.get("cable_size"), one.identity.get("cable_length_m")
        if not size or not length:
            return None
        found.append((str(size), str(Decimal(str(length)).normalize())))
    return tuple(sorted(found))


def ground_findings(aboard: Iterable[Thing], job: Job, pack: RulePack) -> list[Finding]:
    """Every set aboard against the fault and through the back-by day, and whether there are enough for the sites.

    What may not be used at all is told of a jumper that does not count, and where nothing is grounded, too: it is
    aboard, so it may be picked up.
    """
    sets = [one for one in aboard if one.kind == JUMPER]
    if job.sites == 0:
        faults = [fault for one in sets if (fault := fault_of(one, job, part="load"))]
        return [Finding("grounds", "NO_GROUNDS_ASKED", NOTE, {"count": len(sets)}), *faults]
    findings, fits, perhaps = [], [], []
    for one in sets:
        if one.pieces[0].set_no is None:
            findings.append(Finding("grounds", "IN_NO_SET", NOTE, told(one)))
            fault = fault_of(one, job, part="load")
            findings += [fault] if fault else []
            continue
        found = _judged(one, job, pack)
        findings += found
        verdicts = {finding.verdict for finding in found}
        if verdicts == {GOOD}:
            fits.append(one)
        elif STOP not in verdicts:
            perhaps.append(one)
    return findings + _enough(fits, perhaps, job)


def _judged(thing: Thing, job: Job, pack: RulePack) -> list[Finding]:
    """What is said of one set: too small and out of date are two things, and both are told."""
    findings = []
    fault = fault_of(thing, job, part="load")
    if fault:
        findings.append(_wanting(fault))
    if fault_entered(job):
        findings.append(_carried(thing, job, pack))
    return findings


def _carried(thing: Thing, job: Job, pack: RulePack) -> Finding:
    found = carries(thing, job, pack)
    values = told(thing, fault_ka=str(job.fault_ka), cycles=job.cycles, grade=found.grade, sets=job.grounding)
    values |= {"cable": _cables(thing), "column": 15 if (job.cycles or 0) <= 15 else 30}
    if found.kiloamperes is not None:
        values["withstand_ka"] = str(found.kiloamperes.normalize() + 0)
    if found.holds is None:
        why = {**values, "why": found.code}
        return Finding("grounds", "SET_NOT_JUDGED", UNKNOWN, why, found.figures, Want(JUMPER))
    if not found.holds:
        return Finding("grounds", "SET_TOO_SMALL", STOP, values, found.figures, Want(JUMPER))
    return Finding("grounds", "SET_CARRIES", GOOD, values, found.figures)


def _cables(thing: Thing) -> str:
    return ", ".join(sorted({str(one.identity.get("cable_size") or "?") for one in thing.pieces}))


def _enough(fits: Sequence[Thing], perhaps: Sequence[Thing], job: Job) -> list[Finding]:
    """One set to a site, or two that are equal. Common practice, no source, for how many a site takes.

    Where sets that cannot be judged would make up the number it cannot be said either.
    """
    if not job.sites or not fault_entered(job):
        return []
    parallel = job.grounding == PARALLEL
    ready = equal_pairs(fits)[0] if parallel else len(fits)
    values = {"sites": job.sites, "ready": ready, "sets": job.grounding}
    figures = (practice("2 sets to a site" if parallel else "1 set to a site"),)
    if ready >= job.sites:
        return [Finding("grounds", "SETS_ENOUGH", GOOD, values, figures)]
    pairs, unstated = equal_pairs([*fits, *perhaps])
    most = pairs + (unstated + 1) // 2 if parallel else len(fits) + len(perhaps)
    verdict = UNKNOWN if most >= job.sites else STOP
    return [Finding("grounds", "SETS_SHORT", verdict, values, figures, Want(JUMPER))]


def equal_pairs(sets: Iterable[Thing]) -> tuple[int, int]:
    """How many pairs of equal sets there are, and how many sets do not say of what size and length they are."""
    groups: dict[tuple[tuple[str, str], ...], int] = {}
    unstated = 0
    for one in sets:
        key = alike(one)
        if key is None:
            unstated += 1
        else:
            groups[key] = groups.get(key, 0) + 1
    return sum(count // 2 for count in groups.values()), unstated


def _wanting(finding: Finding) -> Finding:
    return Finding(finding.part, finding.code, finding.verdict, finding.values, finding.figures, Want(JUMPER))
