"""Correct a wrong entry by a new one that names it. The original stays visible for ever."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils import timezone

from gear import permissions
from gear.actions import receiving
from gear.actions.acting import Act, Refused, depot_of, facts_now, keeping_refusals, reason_in
from gear.actions.looks import check_inspector
from gear.ledger import Draft, line_of, moment_of, record, rules_on, site_zone
from gear.models import Entry, EvidenceKept, GearSet, ItemState, User
from gear.rules import entries, fold, readiness
from gear.rules.correcting import corrected, replaced
from gear.rules.entries import Line
from gear.rules.moments import FOR_EVER, local_day
from gear.rules.readiness import Answer, SetFacts

ORDER = {"stop": 0, "unknown": 0, "good": 1}
BLOCKING = 5  # from this severity on an entry stands in the way of use, see gear.rules.entries
NOT_HERE = ("corrected", "labelled", "joined_set", "left_set")


@dataclass(frozen=True)
class Preview:
    """What a correction would do to today's answer, and whether the entry itself then says less bad than it did."""

    before: Answer
    after: Answer
    softened: bool = False

    @property
    def improves(self) -> bool:
        """Whether the answer gets better in any way: then a second person is needed.

        A reason that goes away counts even where others hide it, or two people could each take away one of two
        reasons that hide one another.
        """
        fewer = _weight(self.before) - _weight(self.after)
        later = _until(self.after) > _until(self.before)
        return self.softened or bool(fewer) or later or ORDER[self.after.verdict] > ORDER[self.before.verdict]


def _weight(answer: Answer) -> Counter:
    """How often each reason is there; every hold counts for itself."""
    return Counter((reason.code, reason.values.get("hold")) for reason in answer.reasons)


def _until(answer: Answer) -> date:
    if answer.good_through is None:
        return date.max if answer.verdict == "good" else date.min
    return answer.good_through


def replacement(entry: Entry, *, facts: Mapping | None = None, occurred_on: date | None = None) -> dict:
    """What the entry should have said: other facts, another day, or both. Raises BadFacts or BadMoment."""
    stated = {"v": entries.VERSION, **(facts if facts is not None else entry.facts)}
    entries.check(entry.kind, stated, subject="item")
    moment, day, precision = entry.occurred_at, entry.occurred_on, entry.precision
    if occurred_on is not None and occurred_on != entry.occurred_on or entry.precision == "day":
        moment, day, precision = moment_of(
            entry.kind,
            stated,
            occurred_at=None,
            occurred_on=occurred_on or entry.occurred_on,
            now=timezone.now(),
        )
    return {
        "kind": entry.kind,
        "facts": stated,
        "occurred_at": moment.isoformat(),
        "occurred_on": day.isoformat(),
        "precision": precision,
    }


def preview(entry: Entry, new: Mapping | None) -> Preview:
    """Today's answer before and after replacing the entry (`new` is None to withdraw it). Nothing is stored."""
    today = local_day(timezone.now(), site_zone())
    lines = [line_of(one) for one in Entry.objects.filter(item=entry.item).order_by("position")]
    trial = Line(
        Act(None).id, "corrected", timezone.now(), today, FOR_EVER, "", {"replacement": new}, entry.id
    )
    item_no, rules = entry.item.item_no, rules_on(today)
    mates, gear_set = _company(entry)
    facts = [
        fold.fold(item_no, given, as_of_at=FOR_EVER, known_at=FOR_EVER) for given in (lines, [*lines, trial])
    ]
    before, after = (
        readiness.decide(one, rules, as_of=today, mates=mates, gear_set=gear_set) for one in facts
    )
    return Preview(before, after, _softened(standing(entry), new))


def standing(entry: Entry) -> Line | None:
    """What the entry says with its last correction applied; None where it was withdrawn."""
    corrections = Entry.objects.filter(corrects=entry).order_by("position")
    return next(iter(corrected([line_of(entry), *map(line_of, corrections)])), None)


def _softened(stands: Line | None, new: Mapping | None) -> bool:
    """Whether an entry that stands in the way of use says less bad than before, or an expiry moves on."""
    if stands is None:
        return False
    was = entries.severity(stands.kind, stands.facts)
    becomes = entries.severity(new["kind"], new["facts"]) if new else -1
    blocked = was >= BLOCKING or bool(stands.facts.get("effects"))
    return (blocked and becomes < was) or _expiry(new and new["facts"]) > _expiry(stands.facts)


def _expiry(facts: Mapping | None) -> str:
    """The expiry marked on the item as an entry of receipt states it; none is later than any."""
    identity = (facts or {}).get("identity")
    return (
        "9999"
        if identity and not identity.get("marked_expiry_on")
        else (identity or {}).get("marked_expiry_on", "")
    )


def correct(entry: Entry, *, new: Mapping | None, reason: str, act: Act) -> Preview:
    """Replace what an entry says by `new` (see `replacement`), or withdraw it. Raises Refused or BadFacts.

    What makes the answer better needs another person than those who wrote the entry or corrected it before. A
    correction after destruction is refused: what was destroyed on the strength of the record stays so.
    """
    subject = f"{entry.item.item_no if entry.item else ''} {entry.id}".strip()
    with keeping_refusals("correct", subject, act), transaction.atomic():
        permissions.check_can(act.by, "correct")
        facts = {"v": entries.VERSION, "reason": reason_in(reason), "replacement": new}
        entries.check("corrected", facts, subject="item")
        if entry.kind in NOT_HERE or entry.item is None or (new is not None and new["kind"] != entry.kind):
            raise Refused("NOT_CORRECTABLE")
        if _of_evidence(entry, new):
            raise Refused("EVIDENCE_STANDS")
        now = facts_now(entry.item)
        permissions.check_scope(act.by, depot_of(now), act="correct")
        if now.destroyed:
            raise Refused("DESTROYED_IS_FINAL")
        if changes_nothing(entry, new):
            raise Refused("NOTHING_CHANGES")
        if _accepts_by_eye(new) and not _accepts_by_eye(standing(entry)):
            check_inspector(now, act)
        shown = preview(entry, new)
        if needs_another(entry, shown, act.by):
            raise Refused("SECOND_PERSON")
        record(
            Draft(entry.item, "corrected", facts, act.occurred_at, act.occurred_on, entry, act.id),
            by=act.by,
            via=act.via,
            device=act.device,
        )
        if new is not None and entry.kind == "received":
            receiving.restate(entry.item, new["facts"]["identity"])
        return shown


def _of_evidence(entry: Entry, new: Mapping | None) -> bool:
    """Whether an entry, or what would replace it, begins or ends that a piece is kept as evidence.

    No correction does either: acts of their own do, of two people.
    """
    said = [entry.facts, new["facts"] if new else {}]
    if entry.kind == "held":
        return any(one.get("evidence") for one in said)
    holds = [one["hold"] for one in said if "hold" in one]
    return entry.kind == "released" and EvidenceKept.objects.filter(pk__in=holds).exists()


def _accepts_by_eye(said: Mapping | Line | None) -> bool:
    """Whether an entry, or what replaces it, is a look at the tool room that accepts."""
    if isinstance(said, Line):
        said = {"kind": said.kind, "facts": said.facts}
    if said is None or said["kind"] != "inspected":
        return False
    return (said["facts"].get("scope"), said["facts"].get("outcome")) == ("tool_room", "accept")


def changes_nothing(entry: Entry, new: Mapping | None) -> bool:
    """Whether a correction says what stands already."""
    return _says(standing(entry)) == _says(new and replaced(line_of(entry), new))


def needs_another(entry: Entry, shown: Preview, by: User | None) -> bool:
    """Whether `by` may not record this correction: it makes the answer better, and they are no second person."""
    return shown.improves and by is not None and not _second(entry, by)


def _says(line: Line | None) -> tuple | None:
    return line and (line.facts, line.occurred_at, line.occurred_on)


def _second(entry: Entry, person: User) -> bool:
    """Whether the person wrote neither the entry nor a correction of it. Of an import, only a supervisor is second."""
    corrections = Entry.objects.filter(corrects=entry).values_list("by_id", flat=True)
    if person.pk in {entry.by_id, *corrections}:
        return False
    return entry.by_id is not None or person.role == "supervisor"


def _company(entry: Entry) -> tuple[list[fold.ItemFacts], SetFacts | None]:
    state = ItemState.objects.select_related("gear_set").get(item=entry.item)
    if state.gear_set is None:
        return [], None
    others = ItemState.objects.filter(gear_set=state.gear_set).exclude(pk=state.pk).order_by("pk")
    row: GearSet = state.gear_set
    return [fold.from_json(one.facts) for one in others], SetFacts(row.set_no, row.kind, row.required)
