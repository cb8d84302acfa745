"""Gear, people and answers for tests of the job check: as the rules see them, without a database."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

from gear.rules.fold import ItemFacts
from gear.rules.kits import Need
from gear.rules.readiness import GOOD, Answer, Reason
from inspections.rules.job import GLOVES, MULTIPHASE, SINGLE, Checked, Finding, Job, Thing
from inspections.rules.job_check import Crewed, check
from inspections.rules.job_people import Person
from inspections.rules.job_truck import TruckFacts
from tests.rules.histories import FEDERAL

PACK = FEDERAL.pack
TODAY = date(2026, 9, 14)
BACK = TODAY + timedelta(days=6)
LATE = date(2027, 3, 1)
KIT = (Need("glove", "2", 1), Need("sleeve", "2", 1))
GLOVES_ONLY = (Need("glove", "2", 1),)
TRUCK = {"kind": "truck", "name": "T-12", "crew": "Crew 7", "depot": "Harbour depot"}
BUCKET = TruckFacts("T-12", True, True, 46_000, LATE, True, LATE)
GRADE_OF = {"#2": "1", "1/0": "2", "2/0": "3", "3/0": "4", "4/0": "5", "250 kcmil": "6", "350 kcmil": "7"}


def job(**entered) -> Job:
    """12.47 kV multiphase with rubber gloves, one site, 9 kA cleared in 10 cycles, unless told otherwise."""
    usual = {
        "system_v": 12_470,
        "exposure": MULTIPHASE,
        "method": GLOVES,
        "sites": 1,
        "grounding": SINGLE,
        "x_over_r": Decimal("1.5"),
        "fault_ka": Decimal(9),
        "primary_cycles": 6,
        "backup_cycles": 10,
        "back_by": BACK,
    }
    return Job(**{**usual, **entered})


def thing(
    kind,
    *names,
    set_no=None,
    last=LATE,
    verdict=GOOD,
    reason="FAILED_TEST",
    holder=TRUCK,
    whole=True,
    **stated,
):
    """A piece, or the pieces of one set, all alike; `last` is the last good day of every one, None without a clock."""
    pieces, answers, then = [], [], []
    for place, name in enumerate(names):
        hand = {"hand": "LR"[place]} if kind in ("glove", "sleeve") and len(names) == 2 else {}
        facts = ItemFacts(name, identity={"kind": kind, **stated, **hand}, holder=holder, set_no=set_no)
        reasons = () if verdict == GOOD else (Reason(reason, "internal control"),)
        told = (name, kind, stated.get("class"))
        answers.append(Answer(*told, verdict, TODAY, good_through=last, reasons=reasons, set_no=set_no))
        then.append(Answer(*told, verdict, BACK, good_through=last, reasons=reasons, set_no=set_no))
        pieces.append(facts)
    return Thing(tuple(pieces), tuple(answers), tuple(then), whole)


def gloves(cls="2", name="P-1", size="10", **more):
    return thing("glove", f"{name}L", f"{name}R", set_no=name, size=size, **{"class": cls}, **more)


def sleeves(cls="2", name="Q-1", **more):
    return thing("sleeve", f"{name}L", f"{name}R", set_no=name, **{"class": cls}, **more)


def cover(kind="blanket", cls="2", name="B-1", **more):
    return thing(kind, name, **{"class": cls}, **more)


def grounds(size="2/0", name="G-1", *, count=3, length="3.048", clamp=None, ferrule=None, **more):
    """A grounding set of equal jumpers; clamps and ferrules are of the grade of the cable unless named."""
    grade = GRADE_OF.get(size)
    stated = {"cable_size": size, "cable_length_m": length}
    stated |= {"clamp_grade": clamp or grade, "ferrule_grade": ferrule or grade}
    names = [f"{name}-{number}" for number in range(1, count + 1)]
    return thing("grounding_jumper", *names, set_no=name, **stated, **more)


def dev(*things, size="10", name="Dev"):
    return Person(name, size, things or (gloves(),))


def judged(asked: Job, *aboard, people=None, truck=BUCKET, kit=GLOVES_ONLY, left_out=()) -> Checked:
    """Everything found about a job with one set of 4/0 grounds aboard, unless other things are named."""
    crew = (dev(),) if people is None else tuple(people)
    loaded = aboard or (grounds("4/0"),)
    return check(asked, Crewed(truck, loaded, crew, frozenset(left_out)), kit, FEDERAL, as_of=TODAY)


def codes(found: Checked) -> list[str]:
    return [one.code for one in found.findings]


def against(found: Checked) -> list[str]:
    """The codes of all that is stop or unknown, worst first."""
    return [one.code for one in found.findings if one.verdict in ("stop", "unknown")]


def one(found: Checked, code: str) -> Finding:
    """The only finding with a code."""
    (finding,) = [finding for finding in found.findings if finding.code == code]
    return finding
