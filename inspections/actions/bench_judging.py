"""A row of a bench session on its way to a verdict: the item that was scanned, its figures, and what was read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.conf import settings
from django.utils.translation import gettext as _

from gear.actions.acting import Refused
from gear.ledger import LedgerError, rules_on
from gear.models import Item, ItemState
from gear.queries.identified import meant_by
from gear.rules import fold
from gear.rules.entries import UNREADABLE
from gear.rules.fold import ItemFacts
from gear.rules.packs import RulePack
from inspections.models import BenchRow, BenchSession
from inspections.rules import testfacts
from inspections.rules.acceptance import Reading, judge, worse_look
from inspections.rules.bench import GROUND, BenchSheet, sheet
from inspections.rules.testfacts import Paper


class BenchRefused(Refused):
    """What cannot be written into a session. `field` names the cell at fault, where there is one."""

    def __init__(self, code: str, message: str, *, field: str = ""):
        Exception.__init__(self, message)
        self.code = code
        self.field = field


@dataclass(frozen=True)
class OnTheBench:
    """An item with its facts as known now and the figures of the day of the session."""

    item: Item
    facts: ItemFacts
    sheet: BenchSheet
    pack: RulePack


def find_item(scan: str) -> Item:
    """The one item that was scanned or typed. Raises BenchRefused where there is none or more than one."""
    meant = meant_by(scan, base_url=settings.BASE_URL)
    if meant.item is not None:
        return meant.item
    if meant.items:
        numbers = ", ".join(item.item_no for item in meant.items)
        message = _("More than one item bears this serial: %s. Type the item number.") % numbers
        raise BenchRefused("SEVERAL_ITEMS", message, field="scan")
    message = _("Nothing in the book is known as %s. Put the piece aside; it was not tested.") % scan[:60]
    raise BenchRefused("NO_SUCH_ITEM", message, field="scan")


def on_the_bench(items: Sequence[Item], session: BenchSession) -> list[OnTheBench]:
    """Items with their facts and figures, in the order given. Raises LedgerError or BenchRefused."""
    rules = rules_on(session.tested_on)
    if rules.pack is None:
        message = _("The rules of %s cannot be relied upon, so no test can be judged. Ask the administrator.")
        raise BenchRefused("PACK_REFUSED", message % session.tested_on.isoformat(), field="scan")
    states = {one.pk: one for one in ItemState.objects.filter(pk__in=[item.pk for item in items])}
    found = []
    for item in items:
        try:
            facts = fold.from_json(states[item.pk].facts)
        except UNREADABLE as error:
            message = _("The record of this item cannot be read. Have the administrator run verify_ledger.")
            raise LedgerError(message) from error
        found.append(
            OnTheBench(item, facts, sheet(testfacts.tested_item(facts.identity), rules.pack), rules.pack)
        )
    return found


def reading_of(row: BenchRow, session: BenchSession) -> Reading:
    """What a row says, for judging. Voltage, time and supply are left out for a jumper, of which they say nothing."""
    is_cable = row.item.item_type.kind == GROUND
    return Reading(
        session.tested_on, session.purpose, None if is_cable else session.supply, row.applied_v, row.seconds,
        row.leakage_ma, row.resistance_mohm, row.cable_temp_c, worse_look(row.look_before, row.look_after),
        None if is_cable else row.breakdown, None if is_cable else row.flashover, test_a=row.test_a,
        method=row.method or None, material=row.material or None, look_before=row.look_before or None,
        look_after=row.look_after or None,
    )  # fmt: skip


def paper_of(row: BenchRow, session: BenchSession) -> Paper:
    """What the session and the row know besides readings. The checker stands with the row that was checked."""
    return Paper(
        instrument=session.instrument,
        session=session.number,
        operator=row.by.username,
        checker=row.checker.username if row.checker else "",
        bench=session.bench,
        water=session.water,
        ambient_c=session.ambient_c,
        humidity_pct=session.humidity_pct,
        retest=row.retest or None,
    )


def judge_row(row: BenchRow, bench: OnTheBench, session: BenchSession) -> None:
    """Set what the row says by itself, without the company of the others."""
    judgement = judge(reading_of(row, session), testfacts.tested_item(bench.facts.identity), bench.pack)
    row.judged, row.outcome = testfacts.verdict_of(judgement), judgement.outcome
