"""Correct the readings of a test: judged again, never typed; the first reading and its row stay for ever."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

from gear.actions import corrections
from gear.actions.acting import Act, Refused, depot_of, facts_now, keeping_refusals
from gear.actions.corrections import Preview
from gear.actions.looks import check_not_own_repair
from gear.ledger import rules_on
from gear.models import Entry
from gear.permissions import check_scope
from gear.rules.fold import ItemFacts
from inspections import queries
from inspections.actions.testing import check_reading, compared, drafted, made_on_of
from inspections.models import BenchSession, ElectricalTest
from inspections.rules import testfacts
from inspections.rules.acceptance import ACCEPTED, Expected, Judgement, Reading
from inspections.rules.testfacts import Paper


def judged_again(
    entry: Entry, reading: Reading, paper: Paper, *, facts: ItemFacts
) -> tuple[dict[str, Any], Judgement]:
    """What the `tested` entry should have said with these readings, and how they are judged. Nothing is stored.

    Judged by the pack of the day of the test, with the item's identity as known now (`facts`). Raises BadTest with
    the field at fault.
    """
    assert entry.item is not None
    reading, paper = _as_taken(entry, reading, paper)
    reading = _compared(entry, facts, reading)
    check_reading(reading, paper, made_on=made_on_of(facts))
    draft, judgement = drafted(
        entry.item,
        facts,
        reading,
        paper,
        rules=rules_on(reading.tested_on),
        on_file=queries.register(),
        entry_id=entry.pk,
        kept=any(finding.get("code") == "KEPT_AS_EVIDENCE" for finding in entry.facts.get("codes", ())),
    )
    return corrections.replacement(entry, facts=draft.facts, occurred_on=reading.tested_on), judgement


def _as_taken(entry: Entry, reading: Reading, paper: Paper) -> tuple[Reading, Paper]:
    """The corrected readings with what the session of the test knows, which nobody types again.

    One look is stated for both where it is corrected: accepted then means both, anything else replaces both.
    """
    counts = corrections.standing(entry)
    stated = counts.facts.get("readings", {}) if counts else {}
    room = {name: Decimal(stated[name]) for name in testfacts.ROOM if name in stated}
    known = {name: stated[name] for name in testfacts.SESSION if name in stated} | room
    way = {name: stated[name] for name in testfacts.WAY if name in stated}
    if "test_a" in stated:
        way["test_a"] = Decimal(stated["test_a"])
    looks = {name: stated[name] for name in testfacts.LOOKED if name in stated}
    if looks and reading.visual != stated.get("visual"):
        looks = dict.fromkeys(testfacts.LOOKED, "accept") if reading.visual == "accept" else {}
    return replace(reading, **way, **looks), replace(paper, **known)


def _compared(entry: Entry, facts: ItemFacts, reading: Reading) -> Reading:
    """The corrected reading beside what the first was too low for: the median of its session as the entry tells it,
    else the last accepted reading of the item by another test. What was imported was compared with nothing."""
    assert entry.item is not None
    for finding in entry.facts.get("codes", ()):
        if finding.get("code") == "LOW_FOR_SESSION":
            usual = Expected(Decimal(finding["expected_ma"]), int(finding["count"]))
            return replace(reading, expected=usual)
    return reading if entry.via == "import" else compared(entry.item, facts, reading, other_than=entry)


def correct_test(entry: Entry, reading: Reading, paper: Paper, *, reason: str, act: Act) -> Preview:
    """Correct a test and store a detail row beside the correction. Raises what `correct` and `judged_again` raise.

    Nobody makes an accepted test of one that was none where they repaired the item.
    """
    with keeping_refusals("correct", f"{entry.item} {entry.pk}", act):
        if entry.kind != "tested" or entry.item is None:
            raise Refused("NOT_CORRECTABLE")
        facts = facts_now(entry.item)
        check_scope(act.by, depot_of(facts), act="correct")
        new, judgement = judged_again(entry, reading, paper, facts=facts)
        stands = corrections.standing(entry)
        if judgement.outcome == ACCEPTED and (stands is None or stands.facts.get("outcome") != ACCEPTED):
            check_not_own_repair(facts, act)
        shown = corrections.correct(entry, new=new, reason=reason, act=act)
        columns = testfacts.columns_of(new["facts"], item_no=entry.item.item_no, tested_on=reading.tested_on)
        columns["identity"] = testfacts.identity_of_correction(act.id)
        session = BenchSession.objects.filter(number=new["facts"]["readings"].get("session", "")).first()
        ElectricalTest(entry_id=act.id, item=entry.item, session=session, **columns).save()
        return shown
