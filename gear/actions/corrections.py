"""Correct a wrong entry by a new one that names it. The original stays visible for ever."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils import timezone

from gear import permissions
from gear.actions.acting import Act, Refused, depot_of, facts_now, keeping_refusals, reason_in
from gear.ledger import Draft, line_of, moment_of, record, rules_on, site_zone
from gear.models import Entry, GearSet, ItemState
from gear.rules import entries, fold, readiness
from gear.rules.entries import Line
from gear.rules.moments import FOR_EVER, local_day
from gear.rules.readiness import Answer, SetFacts

ORDER = {"stop": 0, "unknown": 0, "good": 1}


@dataclass(frozen=True)
class Preview:
    """What a correction would do to today's answer."""

    before: Answer
    after: Answer

    @property
    def improves(self) -> bool:
        """Whether any reason goes away or a date moves on: then a second person is needed."""
        fewer = {reason.code for reason in self.before.reasons} - {
            reason.code for reason in self.after.reasons
        }
        later = (self.after.good_through or date.min) > (self.before.good_through or date.min)
        return bool(fewer) or later or ORDER[self.after.verdict] > ORDER[self.before.verdict]


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
    return Preview(before, after)


def correct(entry: Entry, *, new: Mapping | None, reason: str, act: Act) -> Preview:
    """Replace what an entry says, or withdraw it. Raises Refused when a second person is needed.

    A correction after destruction is refused: what was destroyed on the strength of the record stays so.
    """
    with keeping_refusals("correct", f"{entry.item.item_no} {entry.id}", act), transaction.atomic():
        permissions.check_can(act.by, "correct")
        if entry.kind in ("corrected", "labelled", "joined_set", "left_set") or entry.item_id is None:
            raise Refused("NOT_CORRECTABLE")
        facts = facts_now(entry.item)
        permissions.check_scope(act.by, depot_of(facts), act="correct")
        if facts.destroyed:
            raise Refused("DESTROYED_IS_FINAL")
        if (
            new is not None
            and new["facts"] == entry.facts
            and new["occurred_at"] == entry.occurred_at.isoformat()
        ):
            raise Refused("NOTHING_CHANGES")
        shown = preview(entry, new)
        if (
            shown.improves
            and act.by is not None
            and entry.by_id in (act.by.pk, None)
            and not _second(entry, act)
        ):
            raise Refused("SECOND_PERSON")
        record(
            Draft(
                entry.item,
                "corrected",
                {"reason": reason_in(reason), "replacement": new},
                act.occurred_at,
                act.occurred_on,
                entry,
                act.id,
            ),
            by=act.by,
            via=act.via,
            device=act.device,
        )
        return shown


def _second(entry: Entry, act: Act) -> bool:
    """An imported entry has no author of its own; a supervisor is its second person."""
    return entry.by_id is None and act.by.role == "supervisor"


def _company(entry: Entry) -> tuple[list[fold.ItemFacts], SetFacts | None]:
    state = ItemState.objects.select_related("gear_set").get(item=entry.item)
    if state.gear_set is None:
        return [], None
    others = ItemState.objects.filter(gear_set=state.gear_set).exclude(pk=state.pk).order_by("pk")
    row: GearSet = state.gear_set
    return [fold.from_json(one.facts) for one in others], SetFacts(row.set_no, row.kind, row.required)
