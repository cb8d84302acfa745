"""A job: what was entered about it, what the gear is against that, and the verdict over all findings.

Nothing here says how to work, or how near to come. Nothing that was not entered is assumed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import ROUND_CEILING, Decimal, localcontext
from functools import cached_property
from typing import Any

from gear.rules.fold import ItemFacts
from gear.rules.packs import Figure, RulePack
from gear.rules.readiness import GOOD, NOTE, STOP, UNKNOWN, Answer

MULTIPHASE, TO_GROUND = "multiphase", "to_ground"
EXPOSURES = (MULTIPHASE, TO_GROUND)
GLOVES, STICK = "gloves", "stick"
METHODS = (GLOVES, STICK)
SINGLE, PARALLEL = "single", "parallel"
GROUNDING = (SINGLE, PARALLEL)
RUBBER_COVER = ("blanket", "line_hose", "hood")
RIGID_COVER, JUMPER, STICKS, PROTECTOR = "rigid_cover", "grounding_jumper", "live_line_tool", "protector"
PRACTICE = "common practice, no source"
PARTS = ("job", "voltage", "people", "cover", "grounds", "load", "truck")
_WORST_FIRST = (STOP, UNKNOWN, NOTE, GOOD)
# Clears by itself on the day: a look before each day's use cannot be made ahead of it.
_OF_THE_DAY = frozenset({"NOT_INSPECTED"})


@dataclass(frozen=True)
class Job:
    """What was entered. None or "" is a field that was left blank; the parts that need it cannot be judged.

    `system_v` is the nominal voltage phase-to-phase in V, clearing times are in cycles of 60 Hz, `sites` counts work
    sites that are grounded, `back_by` is the last day on which the gear is used.
    """

    system_v: int | None = None
    exposure: str = ""
    method: str = ""
    sites: int | None = None
    grounding: str = ""
    x_over_r: Decimal | None = None
    fault_ka: Decimal | None = None
    primary_cycles: int | None = None
    backup_cycles: int | None = None
    back_by: date | None = None

    @property
    def cycles(self) -> int | None:
        """The longer of the two clearing times: a relay may fail. None unless both were entered."""
        if self.primary_cycles is None or self.backup_cycles is None:
            return None
        return max(self.primary_cycles, self.backup_cycles)

    @property
    def exposure_v(self) -> int | None:
        """The voltage that counts for rubber goods in V, rounded up; nothing is decided on the rounded figure."""
        if self.system_v is None or self.exposure not in EXPOSURES:
            return None
        if self.exposure == MULTIPHASE:
            return self.system_v
        with localcontext(prec=28):
            return int((self.system_v / Decimal(3).sqrt()).to_integral_value(ROUND_CEILING))

    def covered_by(self, limit_v: int | Decimal) -> bool | None:
        """Whether a limit in V is not below the exposure, compared exactly; None where the exposure is not entered."""
        if self.system_v is None or self.exposure not in EXPOSURES:
            return None
        if self.exposure == MULTIPHASE:
            return self.system_v <= limit_v
        return self.system_v**2 <= 3 * Decimal(limit_v) ** 2

    @property
    def blanks(self) -> tuple[str, ...]:
        """The fields that this job needs and that were left blank."""
        needed = ["system_v", "exposure", "method", "sites", "back_by"]
        if self.sites != 0:
            needed += ["grounding", "x_over_r", "fault_ka", "primary_cycles", "backup_cycles"]
        return tuple(name for name in needed if getattr(self, name) in (None, ""))


@dataclass(frozen=True)
class Thing:
    """A piece that is used alone, or the pieces of one pair or set: what is worn, loaded or fetched as one.

    `today` and `then` are the answers of its pieces on the day of the question and on the back-by day, `then` empty
    where no such day was entered. `whole` is false where another piece of the set is elsewhere. `gives` replaces the
    last day of what lies on a shelf and starts another clock when it is issued.
    """

    pieces: tuple[ItemFacts, ...]
    today: tuple[Answer, ...]
    then: tuple[Answer, ...] = ()
    whole: bool = True
    gives: date | None = None

    @property
    def name(self) -> str:
        return self.pieces[0].set_no or self.pieces[0].item_no

    @property
    def kind(self) -> str:
        return self.pieces[0].kind or ""

    @property
    def cls(self) -> str:
        return self.pieces[0].cls or ""

    @property
    def size(self) -> str:
        return str(self.pieces[0].identity.get("size") or "")

    @property
    def holder(self) -> Mapping[str, Any]:
        return self.pieces[0].holder or {}

    @property
    def owned(self) -> bool:
        """Whether a piece of it belongs to a visitor: it is not ours to hand out."""
        return any(one.owner for one in self.pieces)

    @property
    def last_day(self) -> date | None:
        """The earliest last good day of its pieces and of their set; None where no clock runs on any of them."""
        if self.gives:
            return self.gives
        days = [day for one in self.today for day in (one.good_through, one.set_good_through) if day]
        return min(days) if days else None

    @property
    def numbers(self) -> frozenset[str]:
        return frozenset({self.name, *(one.item_no for one in self.pieces)})


@dataclass(frozen=True)
class Want:
    """What would close a finding: a kind, the classes that would do (None is any), and for gloves the size."""

    kind: str
    classes: tuple[str, ...] | None = None
    size: str = ""


@dataclass(frozen=True)
class Offer:
    """A fitting thing elsewhere: number, where it is, and its last good day."""

    name: str
    cls: str
    holder: Mapping[str, Any]
    last_day: date | None


@dataclass(frozen=True)
class Finding:
    """One thing that was found. `verdict` is good, stop, unknown, or note where it only tells.

    `values` are plain (text, whole numbers, days as text); `figures` name the published or practised source of each
    limit; `want` says what would close it.
    """

    part: str
    code: str
    verdict: str
    values: Mapping[str, Any] = field(default_factory=dict)
    figures: tuple[Mapping[str, Any], ...] = ()
    want: Want | None = None
    offers: tuple[Offer, ...] = ()

    @property
    def rank(self) -> tuple[int, int]:
        return _WORST_FIRST.index(self.verdict), PARTS.index(self.part)


@dataclass(frozen=True)
class Checked:
    """Everything that was found, worst first."""

    findings: tuple[Finding, ...]

    @cached_property
    def verdict(self) -> str:
        """`good` only where something was judged good and nothing speaks against it."""
        found = {one.verdict for one in self.findings}
        if STOP in found:
            return STOP
        return GOOD if GOOD in found and UNKNOWN not in found else UNKNOWN


def checked(findings: Iterable[Finding]) -> Checked:
    """The findings with the worst on top; among equals in the order of PARTS and then as they came."""
    return Checked(tuple(sorted(findings, key=lambda one: one.rank)))


def cited(figure: Figure, unit: str) -> dict[str, Any]:
    """A figure of the pack with its source, as it is kept."""
    return {
        "value": str(figure.value),
        "unit": unit,
        "source": figure.source,
        "clause": figure.clause,
        "confirm": figure.confirm,
    }


def practice(value: object, unit: str = "") -> dict[str, Any]:
    """A figure or rule that no source stands behind."""
    return {"value": str(value), "unit": unit, "source": PRACTICE, "clause": "", "confirm": False}


def blank_findings(job: Job) -> list[Finding]:
    """Every field that was left blank: the parts that need it cannot be judged."""
    return [Finding("job", "BLANK", UNKNOWN, {"field": name}) for name in job.blanks]


def fault_of(thing: Thing, job: Job, *, part: str) -> Finding | None:
    """What speaks against using a thing from today through the back-by day; None where nothing does.

    With no back-by day entered only today is judged.
    """
    values = told(thing)
    for answer in thing.today:
        if answer.verdict != GOOD:
            against = {"item": answer.item_no, "reason": answer.reasons[0].code}
            return Finding(part, "NOT_GOOD", answer.verdict, {**values, **against})
    if not thing.whole:
        return Finding(part, "SET_APART", STOP, values)
    if job.back_by is None:
        return None  # the blank field itself is a finding, and keeps the whole from being good
    if thing.last_day is not None and thing.last_day < job.back_by:
        first_out = (thing.last_day - thing.today[0].as_of).days + 1
        days = {"back_by": job.back_by.isoformat(), "day": first_out}
        return Finding(part, "OUT_BEFORE_RETURN", STOP, {**values, **days})
    return _fault_then(thing, job, part, values)


def _fault_then(thing: Thing, job: Job, part: str, values: dict[str, Any]) -> Finding | None:
    """What the rules of the back-by day have against it: a stricter policy may begin on the way."""
    for answer in thing.then:
        against = [reason for reason in answer.reasons if reason.code not in _OF_THE_DAY]
        if against:
            code = {"item": answer.item_no, "reason": against[0].code, "back_by": str(job.back_by)}
            return Finding(part, "NOT_GOOD_THEN", against[0].effect, {**values, **code})
    if len(thing.then) != len(thing.pieces):
        return Finding(part, "NOT_READ", UNKNOWN, values)
    return None


def told(thing: Thing, **more: Any) -> dict[str, Any]:
    """A thing in plain values: number, kind, class, last good day, pieces."""
    last = thing.last_day.isoformat() if thing.last_day else ""
    plain = {"thing": thing.name, "kind": thing.kind, "class": thing.cls, "last_day": last}
    return {**plain, "pieces": sorted(one.item_no for one in thing.pieces), **more}


def with_offers(finding: Finding, offers: Iterable[Offer]) -> Finding:
    return replace(finding, offers=tuple(offers))


def covering_classes(kind: str, job: Job, pack: RulePack) -> tuple[str, ...]:
    """The classes of a kind whose limit covers the exposure, lowest first; rigid cover by its own basis."""
    found = []
    for cls in pack.classes_of(kind):
        limit = limit_of(kind, cls, job, pack)
        if limit is not None and job.covered_by(limit.value) is True:  # type: ignore[arg-type]
            found.append(cls)
    return tuple(found)


def limit_of(kind: str, cls: str | None, job: Job, pack: RulePack) -> Figure | None:
    """The limit in V that counts for an exposure.

    Rubber goods have one, the maximum use voltage (29 CFR 1910.137 Table I-4). Rigid cover has two: covered phase to
    covered phase, and phase to ground (ASTM F712 and F968). None where the pack states none.
    """
    if kind == RIGID_COVER and job.exposure == TO_GROUND:
        return pack.use_to_ground_v(kind, cls)
    return pack.max_use_v(kind, cls)
