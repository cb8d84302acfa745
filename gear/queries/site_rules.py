"""The rule pack and site policy: what counts, what is due to follow, who set it, and what a change would do."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from gear.ledger import rulebook
from gear.ledger.rulebook import Proposed
from gear.models import User
from gear.queries.fleet import fleet_under
from gear.queries.questions import question
from gear.rules import packs, policy
from gear.rules.policy import Refusal, SitePolicy
from gear.rules.readiness import Answer

MOST_LINES = 200
_RANK = {"stop": 0, "unknown": 1, "good": 2}


@dataclass(frozen=True)
class RuleEntry:
    """One entry about the rules. `state` is "in force", "to come" or "past"; `by` a name, empty for a command."""

    kind: str
    effective_from: date
    recorded_at: datetime
    by: str
    reason: str
    pack: str
    policy: SitePolicy | None
    state: str


@dataclass(frozen=True)
class Changed:
    """An item whose answer a change of rules would change."""

    before: Answer
    after: Answer
    holder: dict
    usable: bool

    @property
    def moves_verdict(self) -> bool:
        return self.before.verdict != self.after.verdict


@dataclass(frozen=True)
class RuleChange:
    """What a change of rules would do on its first day: `lines` are the worst of `total`, `counts` add up to it.

    A count is ((holder kind, verdict before, verdict after), how many items).
    """

    as_of: date
    items: int
    total: int
    better: int
    counts: Sequence[tuple[tuple[str, str, str], int]]
    lines: Sequence[Changed]


def version() -> str:
    """What the rules look like now: changes with every entry about them, so that no stale preview is confirmed."""
    return ",".join(str(line.id) for line in rulebook.site_lines())


def history(today: date) -> list[RuleEntry]:
    """Every entry about the rules, the last recorded first."""
    lines = rulebook.site_lines()
    names = {
        str(person.pk): person.name
        for person in User.objects.filter(pk__in={line.by for line in lines} - {""})
    }
    current = [rulebook.line_in_force(lines, kind, today) for kind in rulebook.RULE_KINDS]
    return [_told(line, names, today, is_current=line in current) for line in reversed(lines)]


def _told(line, names: dict[str, str], today: date, *, is_current: bool) -> RuleEntry:
    effective_from = rulebook.effective_from(line)
    stated = line.facts.get("policy")
    return RuleEntry(
        kind=line.kind,
        effective_from=effective_from,
        recorded_at=line.recorded_at,
        by=names.get(line.by, ""),
        reason=line.facts.get("reason", ""),
        pack=f"{line.facts['name']} {line.facts['version']}" if line.kind == "pack_adopted" else "",
        policy=policy.parse(stated) if stated else None,
        state="in force" if is_current else "to come" if effective_from > today else "past",
    )


def pack_on(day: date) -> packs.RulePack:
    """The rule pack that counts on a day. Raises PackRefused."""
    return rulebook.pack_on(rulebook.site_lines(), day)


def policy_on(day: date) -> SitePolicy:
    """The site policy that counts on a day. Raises PackRefused or PolicyRefused where it cannot be read."""
    return rulebook.policy_on(rulebook.site_lines(), day)


def conflicts(proposed: Proposed) -> list[tuple[date, Refusal]]:
    """Every choice of a policy that would be laxer than a pack, from the first day of the proposal on.

    A policy meets the packs that are due to follow it, a pack the policies that are. Raises PackRefused.
    """
    lines = [*rulebook.site_lines(), proposed]
    first = rulebook.effective_from(proposed)
    found: dict[tuple[str, str], tuple[date, Refusal]] = {}
    for day in [first, *(day for day in rulebook.change_days(lines) if day > first)]:
        for refusal in policy.laxer_fields(rulebook.policy_on(lines, day), rulebook.pack_on(lines, day)):
            found.setdefault((refusal.field, refusal.message_code), (day, refusal))
    return list(found.values())


def change(proposed: Proposed, *, most: int = MOST_LINES) -> RuleChange:
    """What the proposal would change on its first day, if nothing else happens until then."""
    asked = question(rulebook.effective_from(proposed))
    choices = [rulebook.rules_by_day(proposed=new)(asked.as_of) for new in ((), (proposed,))]
    found, items = [], 0
    for (before, after), facts in fleet_under(asked, choices):
        items += 1
        if _essence(before) != _essence(after):
            found.append(Changed(before, after, facts.holder or {}, facts.usable))
    counts = Counter((one.holder.get("kind", ""), one.before.verdict, one.after.verdict) for one in found)
    return RuleChange(
        as_of=asked.as_of,
        items=items,
        total=len(found),
        better=sum(_RANK[one.after.verdict] > _RANK[one.before.verdict] for one in found),
        counts=sorted(counts.items(), key=lambda pair: (pair[0][1] == pair[0][2], -pair[1], pair[0])),
        lines=sorted(found, key=_worst_first)[:most],
    )


def _essence(answer: Answer) -> tuple:
    """What a person would be told differently: the verdict, the date, the clock, and the reasons."""
    reasons = tuple((reason.code, str(sorted(reason.values.items()))) for reason in answer.reasons)
    return answer.verdict, answer.good_through, answer.winning_clock, answer.set_good_through, reasons


def _worst_first(one: Changed) -> tuple:
    fall = _RANK[one.after.verdict] - _RANK[one.before.verdict]
    return fall == 0, fall, not one.usable, one.after.good_through or date.max, one.after.item_no
