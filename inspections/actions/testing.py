"""Log one electrical test: judged from its readings, kept whatever it says, never typed as passed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from uuid import UUID

from django.utils import timezone
from django.utils.translation import gettext as _

from gear import permissions
from gear.actions.acting import Act, Refused, depot_of, facts_now, keeping_refusals
from gear.actions.looks import check_inspector, check_not_own_repair
from gear.ledger import Draft, IdReused, record, rules_on, site_zone
from gear.ledger.chain import EARLIEST, SKEW
from gear.models import Entry, Item
from gear.rules import transitions
from gear.rules.fold import ItemFacts
from gear.rules.moments import local_day
from gear.rules.readiness import Rules
from inspections import queries
from inspections.models import ElectricalTest
from inspections.rules import bounds, testfacts
from inspections.rules.acceptance import Expected, Judgement, Reading, judge
from inspections.rules.testfacts import Paper


class BadTest(Refused):
    """A test that cannot be recorded. `field` names the cell at fault; the message says what to do."""

    def __init__(self, code: str, field: str, message: str):
        Exception.__init__(self, message)
        self.code = code
        self.field = field


def log_test(
    item: Item,
    reading: Reading,
    *,
    act: Act,
    lab_result: str = "",
    lab: str = "",
    instrument: str = "",
    report_no: str = "",
) -> tuple[ElectricalTest, Judgement]:
    """Judge a test with the pack in force on its day and record it; returns the row and the judgement.

    A void or failed test is kept like any other; a failed one rejects the item at once. The same `act.id` or the same
    test sent again returns what was recorded. Nobody accepts by a test what they repaired. Raises NotAllowed, Refused,
    BadTest (with the field), BadMoment or IdReused; then nothing was stored but the refusal.
    """
    paper = Paper(lab_result, lab, instrument, report_no)
    with keeping_refusals("log_test", item.item_no, act):
        permissions.check_can(act.by, "log_test")
        facts = facts_now(item)
        permissions.check_scope(act.by, depot_of(facts), act="log_test")
        check_reading(reading, paper, made_on=made_on_of(facts))
        _check_moment(reading, act)
        if known := _known(item, reading, paper, act):
            return known, testfacts.recorded(known.entry.facts)
        if code := transitions.refusal("log_test", facts):
            raise Refused(code)
        draft, judgement = drafted(
            item,
            facts,
            compared(item, facts, reading),
            paper,
            rules=rules_on(reading.tested_on),
            on_file=queries.register(),
            entry_id=act.id,
        )
        if judgement.outcome == "accepted":
            _check_accepting(facts, reading, paper, act)
        row = row_of(item, draft)
        if act.occurred_at:
            draft = replace(draft, occurred_at=act.occurred_at, occurred_on=None)
        entry = record(draft, by=act.by, via=act.via, device=act.device)
        row.entry = entry
        row.save()
        return row, judgement


def _check_accepting(facts: ItemFacts, reading: Reading, paper: Paper, act: Act) -> None:
    """Accepting takes a look at our own bench by an inspector; at a lab it was the lab's people who looked."""
    if paper.lab:
        check_not_own_repair(facts, act)
    else:
        check_inspector(facts, replace(act, occurred_on=reading.tested_on))


def compared(item: Item, facts: ItemFacts, reading: Reading, *, other_than: Entry | None = None) -> Reading:
    """The reading of a glove on AC beside its last accepted one: far below that, the set-up is at fault.

    `other_than` is the test itself where it is on record already.
    """
    if facts.kind != "glove" or reading.supply != "ac" or not reading.leakage_ma:
        return reading
    earlier = queries.last_accepted_ma(item, other_than=other_than)
    return reading if earlier is None else replace(reading, expected=Expected(earlier))


def drafted(
    item: Item,
    facts: ItemFacts,
    reading: Reading,
    paper: Paper,
    *,
    rules: Rules,
    on_file: queries.Register,
    entry_id: UUID,
    kept: bool = False,
) -> tuple[Draft, Judgement]:
    """The `tested` entry to record, judged with the item's identity as known now. Raises BadTest without a pack.

    `kept`: it came in while the piece was kept as evidence, so it is recorded and clears nothing.
    """
    if rules.pack is None:
        raise BadTest(
            "PACK_REFUSED",
            "tested_on",
            _(
                "tested_on: the rules of %s cannot be relied upon, so no test of that day can be judged. "
                "Ask the administrator."
            )
            % reading.tested_on.isoformat(),
        )
    calibration = queries.calibration_on(paper, reading.tested_on, on_file)
    judgement = judge(
        replace(reading, instrument_expired=calibration == "expired", kept_as_evidence=kept),
        testfacts.tested_item(facts.identity),
        rules.pack,
    )
    stated = testfacts.facts_of(
        reading, paper, judgement, identity=facts.identity, pack=rules.pack.label, calibration=calibration
    )
    return Draft(item, "tested", stated, occurred_on=reading.tested_on, id=entry_id), judgement


def row_of(item: Item, draft: Draft) -> ElectricalTest:
    """The typed row beside a `tested` entry."""
    assert draft.occurred_on is not None
    columns = testfacts.columns_of(draft.facts, item_no=item.item_no, tested_on=draft.occurred_on)
    return ElectricalTest(entry_id=draft.id, item=item, **columns)


def check_reading(reading: Reading, paper: Paper, *, made_on: date | None) -> None:
    """Raise BadTest, naming the field, for a day that cannot be or a value that no bench can show."""
    today = local_day(timezone.now(), site_zone())
    day = reading.tested_on
    if day > today:
        raise BadTest(
            "TEST_IN_FUTURE", "tested_on", _("tested_on: %s lies in the future. Check the date.") % day
        )
    if day < EARLIEST:
        raise BadTest("DATE_ABSURD", "tested_on", _("tested_on: %s cannot be right. Check the year.") % day)
    if made_on and day < made_on:
        message = _("tested_on: %(day)s is before the item was made (%(made)s). Check both dates.")
        raise BadTest("TEST_BEFORE_MADE", "tested_on", message % {"day": day, "made": made_on})
    for name in bounds.BOUNDS:
        value = getattr(reading, name)
        if value is not None and not bounds.is_possible(name, value):
            message = _(
                "%(field)s: %(value)s cannot be right. Check the number and its unit (V, s, mA, milliohm, C)."
            )
            raise BadTest("READING_ABSURD", name, message % {"field": name, "value": value})
    _check_words(reading, paper)


WORDS = {"supply": bounds.SUPPLIES, "visual": bounds.LOOKS, "lab_result": bounds.LAB_RESULTS}
LONGEST = 80


def _check_words(reading: Reading, paper: Paper) -> None:
    cells = {
        "purpose": reading.purpose,
        "supply": reading.supply,
        "visual": reading.visual,
        "lab_result": paper.lab_result,
    }
    for name, value in cells.items():
        allowed = bounds.PURPOSES if name == "purpose" else ("", None, *WORDS[name])
        if value not in allowed:
            message = _("%(field)s: %(value)s is not one of %(words)s.")
            words = ", ".join(word for word in allowed if word)
            raise BadTest("WORD_UNKNOWN", name, message % {"field": name, "value": value, "words": words})
    for name in ("lab", "instrument", "report_no"):
        if len(getattr(paper, name)) > LONGEST:
            message = _("%(field)s: at most %(most)s characters.") % {"field": name, "most": LONGEST}
            raise BadTest("TEXT_TOO_LONG", name, message)


def _check_moment(reading: Reading, act: Act) -> None:
    """A moment given for the act must lie on the day of the test."""
    moment = act.occurred_at
    if moment is None:
        return
    if moment > timezone.now() + SKEW:
        raise BadTest(
            "TEST_IN_FUTURE", "tested_on", _("tested_on: this moment lies in the future. Check the clock.")
        )
    if local_day(moment, site_zone()) != reading.tested_on:
        message = _("tested_on: %s is not the day of the moment that was sent with it.")
        raise BadTest("DAY_DIFFERS", "tested_on", message % reading.tested_on)


def made_on_of(facts: ItemFacts) -> date | None:
    """The day the item was made, from its identity; None where it is not stated."""
    made_on = facts.identity.get("made_on")
    return date.fromisoformat(made_on) if made_on else None


def _known(item: Item, reading: Reading, paper: Paper, act: Act) -> ElectricalTest | None:
    """The row of this very test when it was recorded before, by id or by what identifies it."""
    cells = testfacts.stated(reading, paper)
    identity = testfacts.identity_of(item.item_no, reading.tested_on, purpose=reading.purpose, cells=cells)
    same_id = ElectricalTest.objects.select_related("entry").filter(pk=act.id).first()
    if same_id is not None:
        if same_id.item_id != item.pk or same_id.entry.by_id != (act.by.pk if act.by else None):
            raise IdReused(
                _("This id was used before for another test. Nothing was recorded; send it with a new id.")
            )
        if not says_the_same(same_id, reading, cells):
            raise IdReused(
                _("This id was used before for another test. Nothing was recorded; send it with a new id.")
            )
        return same_id
    known = ElectricalTest.objects.select_related("entry").filter(identity=identity).first()
    if known is not None and not says_the_same(known, reading, cells):
        message = _(
            "report_no: report %(report)s already holds a test of %(item)s on %(day)s that says something else. "
            "Correct the recorded test instead."
        )
        values = {"report": paper.report_no, "item": item.item_no, "day": reading.tested_on}
        raise BadTest("SAME_TEST_OTHER_CONTENT", "report_no", message % values)
    return known


def says_the_same(row: ElectricalTest, reading: Reading, cells: dict) -> bool:
    """Whether a recorded test states what is stated now; how it was judged then does not matter."""
    facts = row.entry.facts
    return (
        row.tested_on == reading.tested_on
        and facts["purpose"] == reading.purpose
        and testfacts.cells_in(facts["readings"]) == cells
    )
