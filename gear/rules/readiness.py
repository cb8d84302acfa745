"""The one decision: may this item be used on this day? Everything that shows a verdict calls `decide`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from gear.rules import clocks
from gear.rules.blocks import BLOCKS, GOOD, KINDS, NOTE, OVERRIDING, OWN_BLOCKS, STOP, UNKNOWN, Reason
from gear.rules.clocks import Clock
from gear.rules.fold import ItemFacts
from gear.rules.happenings import EVIDENCE, TestFact
from gear.rules.packs import KindRule, RulePack
from gear.rules.policy import SitePolicy

__all__ = [
    "BLOCKS",
    "GOOD",
    "HANDED",
    "KINDS",
    "NOTE",
    "OVERRIDING",
    "STOP",
    "UNKNOWN",
    "Answer",
    "Reason",
    "Rules",
    "SetFacts",
    "decide",
    "refused",
    "running_clocks",
]
HANDED = frozenset({"glove", "sleeve"})
_MATCHING = ("kind", "class", "size", "length_mm", "type")


@dataclass(frozen=True)
class Rules:
    """The rule pack and site policy that count on the day asked about. `pack` is None when it was refused."""

    pack: RulePack | None
    policy: SitePolicy
    refusal: str = ""


@dataclass(frozen=True)
class SetFacts:
    """What is recorded of a set: its number, kind (pair, grounding, kit) and how many pieces make it complete."""

    set_no: str
    kind: str
    required: int | None


@dataclass(frozen=True)
class Answer:
    """The verdict on one item on one day, with everything that led to it."""

    item_no: str
    kind: str | None
    cls: str | None
    verdict: str
    as_of: date
    good_through: date | None = None
    clocks: tuple[Clock, ...] = ()
    reasons: tuple[Reason, ...] = ()
    notes: tuple[Reason, ...] = ()
    max_use_v: int | None = None
    set_no: str | None = None
    set_good_through: date | None = None
    rule_pack: str = ""

    @property
    def winning_clock(self) -> str | None:
        return self.clocks[0].name if self.clocks else None

    @property
    def runner_up(self) -> Clock | None:
        return self.clocks[1] if len(self.clocks) > 1 else None

    @property
    def days_left(self) -> int | None:
        """Days from `as_of` to the last good day, 0 on that day itself, negative once it is past."""
        return (self.good_through - self.as_of).days if self.good_through else None

    @property
    def days_over(self) -> int | None:
        """Days past the last good day, None while the item is in date or nothing dates it."""
        left = self.days_left
        return -left if left is not None and left < 0 else None


def decide(
    facts: ItemFacts,
    rules: Rules,
    *,
    as_of: date,
    mates: Sequence[ItemFacts] = (),
    gear_set: SetFacts | None = None,
    asked_by: str | None = None,
    trouble: Sequence[Reason] = (),
) -> Answer:
    """The answer for one item on the day `as_of`.

    `mates` are the other members of its set; `trouble` what the edge knows to be wrong (broken chain, voided
    label, clock set back); `asked_by` the name of the person asking, or None. `good` is returned only when
    nothing speaks against it and everything needed was there.
    """
    alone = _alone(facts, rules, as_of=as_of, trouble=tuple(trouble))
    if rules.pack is None:
        return alone
    reasons = [*alone.reasons, *_set_reasons(facts, mates, gear_set, rules, as_of)]
    reasons += _policy_blocks(facts, rules, as_of, asked_by)
    notes = _notes(facts, rules, as_of, alone.good_through, asked_by)
    return Answer(
        facts.item_no,
        facts.kind,
        facts.cls,
        _verdict(reasons),
        as_of,
        alone.good_through,
        alone.clocks,
        _worst_first(reasons),
        tuple(notes),
        alone.max_use_v,
        facts.set_no,
        _set_good_through(facts, mates, rules, alone.good_through),
        rules.pack.label,
    )


def refused(item_no: str, code: str, *, as_of: date, rules: Rules | None = None, **values: Any) -> Answer:
    """An answer about something that cannot be looked at: no such item, unreadable or voided label."""
    reason = Reason(code, _source(rules, code) if rules else "internal control", values)
    label = rules.pack.label if rules and rules.pack else ""
    return Answer(item_no, None, None, reason.effect, as_of, reasons=(reason,), rule_pack=label)


def _alone(facts: ItemFacts, rules: Rules, *, as_of: date, trouble: tuple[Reason, ...] = ()) -> Answer:
    """The answer without its set."""
    if rules.pack is None:
        reasons = [*trouble, Reason("PACK_REFUSED", "internal control", {"why": rules.refusal})]
        return Answer(facts.item_no, facts.kind, facts.cls, UNKNOWN, as_of, reasons=_worst_first(reasons))
    running = running_clocks(facts, rules)
    reasons = [
        *trouble,
        *_record_reasons(facts, rules),
        *_condition_reasons(facts, rules),
        *_test_reasons(facts, rules),
        *_date_reasons(facts, rules, running, as_of),
    ]
    limit = rules.pack.max_use_v(facts.kind, facts.cls) if facts.kind else None
    return Answer(
        facts.item_no,
        facts.kind,
        facts.cls,
        _verdict(reasons),
        as_of,
        running[0].good_through if running else None,
        running,
        _worst_first(reasons),
        max_use_v=int(limit.value) if limit and limit.value is not None else None,
        rule_pack=rules.pack.label,
    )


def running_clocks(facts: ItemFacts, rules: Rules) -> tuple[Clock, ...]:
    """Every clock of the item, earliest first; an event ends the clocks that count from a test."""
    rule = rules.pack.kind_rule(facts.kind) if rules.pack and facts.kind else None
    if rule is None:
        return ()
    policy = rules.policy
    limits = clocks.limits_for(
        rule,
        policy.intervals,
        policy.shelf_limits,
        count_from_test=policy.count_from_test,
        policy_source=policy.source,
    )
    expiry = facts.identity.get("marked_expiry_on")
    return clocks.running(
        limits,
        last_test_on=facts.last_test_on,
        first_issued_on=facts.first_issued_on,
        first_issue_known=facts.first_issue_known,
        issued=facts.issued,
        marked_expiry_on=date.fromisoformat(expiry) if expiry else None,
    )


def _verdict(reasons: Sequence[Reason]) -> str:
    if any(reason.code in OVERRIDING for reason in reasons):
        return UNKNOWN
    effects = {reason.effect for reason in reasons}
    if STOP in effects:
        return STOP
    return UNKNOWN if UNKNOWN in effects else GOOD


def _worst_first(reasons: Sequence[Reason]) -> tuple[Reason, ...]:
    return tuple(sorted(reasons, key=lambda reason: reason.rank))


def _source(rules: Rules, code: str) -> str:
    if code in OWN_BLOCKS:
        return OWN_BLOCKS[code]
    return rules.pack.block_source(code) if rules.pack else "internal control"


def _reason(rules: Rules, code: str, **values: Any) -> Reason:
    return Reason(
        code, _source(rules, code), {name: value for name, value in values.items() if value is not None}
    )


def _record_reasons(facts: ItemFacts, rules: Rules) -> list[Reason]:
    reasons = []
    if facts.unreadable:
        reasons.append(_reason(rules, "RECORD_UNREADABLE", entry=facts.unreadable[0]))
    if facts.holder is None:
        left = {"on": facts.away.on, "owner": facts.owner} if facts.away else {}
        reasons.append(_reason(rules, "NOT_YET_RECEIVED", **left))
    if facts.kind not in KINDS:
        reasons.append(_reason(rules, "UNKNOWN_KIND", kind=facts.kind or ""))
        return reasons
    rule = rules.pack.kind_rule(facts.kind) if rules.pack else None
    if rule is None or (rule.interval is None and not rule.no_clock):
        reasons.append(_reason(rules, "NO_RULE_FOR_KIND", kind=facts.kind))
    return reasons


def _condition_reasons(facts: ItemFacts, rules: Rules) -> list[Reason]:
    named = (
        ("DESTROYED", facts.destroyed),
        ("REJECTED", facts.rejected),
        ("LOST", facts.lost),
        ("FAILED_TEST", facts.failed),
        ("DAMAGED", facts.damaged),
        ("OUT_FOR_REPAIR", facts.out_for_repair),
        ("OUT_FOR_TEST", facts.out_for_test),
        ("NEEDS_CLEANING", facts.needs_cleaning),
    )
    reasons = [_reason(rules, code, on=flag.on, why=flag.reason or flag.word) for code, flag in named if flag]
    for hold in facts.holds:
        code = "EVIDENCE" if hold.word == EVIDENCE else "HELD"
        reasons.append(_reason(rules, code, on=hold.on, why=hold.reason or hold.word, hold=hold.entry))
    return reasons


def _test_reasons(facts: ItemFacts, rules: Rules) -> list[Reason]:
    rule = rules.pack.kind_rule(facts.kind) if rules.pack and facts.kind else None
    reasons = [_reason(rules, "NEEDS_TEST", event=event.word, on=event.on) for event in facts.voided]
    if rule is None:
        return reasons
    if facts.unjudged:
        reasons.append(_reason(rules, "TEST_NOT_JUDGED", on=facts.unjudged.on, codes=facts.unjudged.codes))
    elif facts.accepted is None:
        voided = facts.void_test
        reasons.append(
            _reason(
                rules,
                "NEVER_TESTED",
                void_on=voided.on if voided else None,
                codes=voided.codes if voided else None,
            )
        )
    elif changed := _judged_as_other(facts, facts.accepted, rule):
        reasons.append(_reason(rules, "JUDGED_AS_OTHER", field=changed, on=facts.accepted.on))
    return reasons


def _judged_as_other(facts: ItemFacts, accepted: TestFact, rule: KindRule) -> str:
    """The first field by which the last accepted test was of another item than this is now; empty when of this one.

    A test that does not say what it was judged as speaks for nothing, nor does one of a class that there is not.
    """
    stated, identity = accepted.judged_as, facts.identity
    needed = ["kind", "class"] if rule.classes else ["kind"]
    for name in [*needed, *stated]:
        if name not in stated or stated[name] != identity.get(name):
            return name
    return "class" if rule.classes and facts.cls not in rule.classes else ""


def _date_reasons(facts: ItemFacts, rules: Rules, running: tuple[Clock, ...], as_of: date) -> list[Reason]:
    if not running or as_of <= running[0].good_through:
        return []
    winner = running[0]
    shelf = not facts.issued and winner.name != "marked_expiry"
    return [
        Reason(
            "SHELF_LIMIT" if shelf else "OUT_OF_DATE",
            winner.source,
            {
                "good_through": winner.good_through,
                "clock": winner.name,
                "days_over": (as_of - winner.good_through).days,
            },
        )
    ]


def _set_reasons(
    facts: ItemFacts, mates: Sequence[ItemFacts], gear_set: SetFacts | None, rules: Rules, as_of: date
) -> list[Reason]:
    """What the set has against it. A handed piece needs its opposite hand; a jumper in no set stands alone."""
    if facts.kind not in HANDED and facts.set_no is None:
        return []
    problem = _pair_problem(facts, mates) if facts.kind in HANDED else _count_problem(facts, mates, gear_set)
    reasons = [_reason(rules, "SET_NOT_COMPLETE", set=facts.set_no, **problem)] if problem else []
    for mate in sorted(mates, key=lambda one: one.item_no):
        answer = _alone(mate, rules, as_of=as_of)
        if answer.verdict != GOOD:
            reasons.append(
                _reason(
                    rules,
                    "SET_NOT_COMPLETE",
                    set=facts.set_no,
                    cause="mate",
                    mate=mate.item_no,
                    mate_code=answer.reasons[0].code,
                    mate_verdict=answer.verdict,
                )
            )
    return reasons


def _pair_problem(facts: ItemFacts, mates: Sequence[ItemFacts]) -> dict:
    hand = facts.identity.get("hand")
    if hand not in ("L", "R"):
        return {"cause": "hand"}
    opposite = [mate for mate in mates if mate.identity.get("hand") == ("R" if hand == "L" else "L")]
    if not opposite:
        return {"cause": "missing", "hand": "R" if hand == "L" else "L"}
    if len(mates) > 1:
        return {"cause": "too_many", "count": len(mates) + 1}
    differing = [name for name in _MATCHING if _differs(facts, opposite[0], name)]
    return {"cause": "differs", "field": differing[0], "mate": opposite[0].item_no} if differing else {}


def _differs(one: ItemFacts, other: ItemFacts, name: str) -> bool:
    """Whether both state the field and state it differently."""
    first, second = one.identity.get(name), other.identity.get(name)
    return first is not None and second is not None and first != second


def _count_problem(facts: ItemFacts, mates: Sequence[ItemFacts], gear_set: SetFacts | None) -> dict:
    if gear_set is None or gear_set.required is None:
        return {"cause": "unstated"}
    count = len(mates) + 1
    return (
        {"cause": "count", "count": count, "required": gear_set.required} if count < gear_set.required else {}
    )


def _set_good_through(
    facts: ItemFacts, mates: Sequence[ItemFacts], rules: Rules, own: date | None
) -> date | None:
    """The earliest of the members' dates; None where nothing dates one of them or there is no set."""
    if facts.set_no is None:
        return None
    running = [running_clocks(mate, rules) for mate in mates]
    if own is None or not all(running):
        return None
    return min([own, *(clock[0].good_through for clock in running)])


def _policy_blocks(facts: ItemFacts, rules: Rules, as_of: date, asked_by: str | None) -> list[Reason]:
    reasons = []
    if rules.policy.preuse_stops and facts.checked_on != as_of:
        reasons.append(_reason(rules, "NOT_INSPECTED"))
    if rules.policy.other_holder_stops and facts.holder and _another_persons(facts.holder, asked_by):
        reasons.append(_reason(rules, "OTHER_HOLDER", holder=facts.holder["name"]))
    return reasons


def _another_persons(holder: dict, asked_by: str | None) -> bool:
    return bool(asked_by and holder["kind"] == "person" and holder["name"] != asked_by)


def _notes(
    facts: ItemFacts, rules: Rules, as_of: date, good_through: date | None, asked_by: str | None
) -> list[Reason]:
    notes = []
    if not rules.policy.other_holder_stops and facts.holder and _another_persons(facts.holder, asked_by):
        notes.append(_reason(rules, "OTHER_HOLDER", holder=facts.holder["name"]))
    if facts.checked_on != as_of and not rules.policy.preuse_stops:
        notes.append(_reason(rules, "NOT_INSPECTED_TODAY"))
    if good_through is not None and 0 <= (good_through - as_of).days <= rules.policy.due_soon_days:
        notes.append(_reason(rules, "DUE_SOON", days=(good_through - as_of).days))
    return notes
