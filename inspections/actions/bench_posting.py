"""Post a bench session: every row judged once more and recorded as a test, all of them or none."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from gear import permissions
from gear.actions.acting import WORDS, Act, LedgerError, depot_of, keeping_refusals
from gear.actions.looks import repairers
from gear.ledger import Draft, record_many, rules_on, site_zone
from gear.models import Item, ItemState, User
from gear.queries.people import qualification_on
from gear.rules import fold, transitions
from gear.rules.entries import UNREADABLE
from gear.rules.fold import ItemFacts
from gear.rules.moments import local_day
from gear.rules.readiness import Rules
from inspections import queries
from inspections.actions.bench_judging import BenchRefused, paper_of, reading_of
from inspections.actions.bench_rows import check_reason
from inspections.actions.bench_sessions import locked
from inspections.actions.testing import BadTest, check_reading, drafted, made_on_of, row_of
from inspections.models import BenchSession, ElectricalTest
from inspections.queries.bench import Board, RowNow
from inspections.rules import testfacts
from inspections.rules.acceptance import ACCEPTED, Judgement
from inspections.rules.bench import sheet
from inspections.rules.testfacts import Paper


@dataclass(frozen=True)
class LeftOut:
    """A row that is not posted, and why: a code, and a sentence where the refusal came with one."""

    row: RowNow
    code: str
    told: str = ""


@dataclass(frozen=True)
class ToPost:
    """A row as it would be recorded."""

    row: RowNow
    draft: Draft
    judgement: Judgement

    @property
    def outcome(self) -> str:
        return self.judgement.outcome


@dataclass(frozen=True)
class Plan:
    """What posting would do now: `bars` are codes that stand against all of it."""

    board: Board
    posting: Sequence[ToPost] = ()
    left_out: Sequence[LeftOut] = ()
    bars: Sequence[str] = ()

    @property
    def count(self) -> int:
        return len(self.posting)


@dataclass
class _Judging:
    """What is needed to judge rows, looked up once."""

    session: BenchSession
    rules: Rules
    on_file: queries.Register
    facts: dict[int, ItemFacts]
    qualified: dict[int, str] = field(default_factory=dict)

    def qualification(self, person: User) -> str:
        """The qualification of a person, looked up once. It must hold on the day of the session and today."""
        if person.pk not in self.qualified:
            days = {self.session.tested_on, local_day(timezone.now(), site_zone())}
            found = {qualification_on(person, day) for day in days}
            self.qualified[person.pk] = "expired" if "expired" in found else found.pop()
        return self.qualified[person.pk]


def preview(session: BenchSession, *, act: Act) -> Plan:
    """What posting would do if it were done now by this person. Nothing is stored."""
    return _plan(session, act, lock=False)


def post(session: BenchSession, *, count: int, act: Act) -> Plan:
    """Record every row that can be posted, in one transaction; `count` is how many the person saw and typed.

    Rows that are left out stay open with their reasons; the session is posted once none is left. Raises NotAllowed,
    BenchRefused or LedgerError; then nothing was stored but the refusal.
    """
    with keeping_refusals("post_session", session.number, act):
        permissions.check_can(act.by, "log_test")
        session = locked(session)
        plan = _plan(session, act, lock=True)
        _check(plan, count)
        record_many([one.draft for one in plan.posting], by=act.by, via=act.via, device=act.device)
        ElectricalTest.objects.bulk_create([_detail(one, session) for one in plan.posting], batch_size=500)
        session.rows.filter(pk__in=[one.row.row.pk for one in plan.posting]).update(test_id=F("id"))
        if not plan.left_out:
            session.state, session.posted_by, session.posted_at = "posted", act.by, timezone.now()
            session.save(update_fields=["state", "posted_by", "posted_at"])
        return plan


def _check(plan: Plan, count: int) -> None:
    for code in plan.bars:
        raise BenchRefused(code, BARS[code]())
    if not plan.posting:
        raise BenchRefused("NOTHING_TO_POST", _("No row of this session can be posted now. See why below."))
    if count != plan.count:
        message = _("%(count)s was typed, and %(rows)s rows would be posted now. Look at the list again.")
        raise BenchRefused("COUNT_DIFFERS", message % {"count": count, "rows": plan.count}, field="count")


BARS = {
    "CALIBRATION_EXPIRED": lambda: _(
        "The calibration of the instrument had run out on the day of this session, so nothing was proved. If another "
        "instrument was used, correct the session; else abandon it and test again."
    ),
    "PACK_REFUSED": lambda: _(
        "The rules of the day of this session cannot be relied upon. Ask the administrator."
    ),
}


def _detail(one: ToPost, session: BenchSession) -> ElectricalTest:
    row = row_of(one.row.row.item, one.draft)
    row.session = session
    return row


def _plan(session: BenchSession, act: Act, *, lock: bool) -> Plan:
    found = queries.board(session)
    rules, on_file = rules_on(session.tested_on), queries.register()
    used = Paper(instrument=session.instrument, bench=session.bench)
    calibration = queries.calibration_on(used, session.tested_on, on_file)
    bars = ["CALIBRATION_EXPIRED"] if calibration == "expired" else []
    if rules.pack is None:
        return Plan(found, bars=["PACK_REFUSED", *bars])
    open_rows = [one for one in found.rows if one.row.test_id is None]
    judging = _Judging(session, rules, on_file, _facts([one.row.item for one in open_rows], lock=lock))
    posting: list[ToPost] = []
    left_out: list[LeftOut] = []
    for one in open_rows:
        done = _drafted(one, judging, act)
        if isinstance(done, ToPost):
            posting.append(done)
        else:
            left_out.append(done)
    return Plan(found, posting, left_out, bars)


def _facts(items: Sequence[Item], *, lock: bool) -> dict[int, ItemFacts]:
    """Facts of the items by key, without those that cannot be read; their states are locked in one order."""
    states = ItemState.objects.filter(pk__in=[item.pk for item in items]).order_by("pk")
    found = {}
    for state in states.select_for_update() if lock else states:
        try:
            found[state.pk] = fold.from_json(state.facts)
        except UNREADABLE:
            continue
    return found


def _drafted(one: RowNow, judging: _Judging, act: Act) -> ToPost | LeftOut:
    """The entry that a row becomes, under the id of the row; or why it becomes none."""
    for code in _unsettled(one):
        return LeftOut(one, code)
    facts = judging.facts.get(one.row.item_id)
    if facts is None:
        return LeftOut(one, "RECORD_UNREADABLE")
    try:
        draft, judgement = _judged(one, facts, judging, act)
        if judgement.outcome == ACCEPTED and judging.rules.pack is not None:
            # Once more: what the session is for may have been corrected since the row was typed.
            figures = sheet(testfacts.tested_item(facts.identity), judging.rules.pack)
            check_reason(one.row, figures, facts, judging.session)
    except (BenchRefused, BadTest, permissions.NotAllowed, LedgerError) as error:
        return LeftOut(one, getattr(error, "code", type(error).__name__), str(error))
    if judgement.outcome == ACCEPTED:
        for code in _unqualified(one, judging, act):
            return LeftOut(one, code)
        if {person.pk for person in (act.by, one.row.by, one.row.looked_by) if person} & repairers(facts):
            return LeftOut(one, "OWN_REPAIR", str(WORDS["OWN_REPAIR"]))
    return ToPost(one, draft, judgement)


def _unsettled(one: RowNow) -> Iterator[str]:
    yield from one.doubts
    if one.lacks_look:
        yield "LOOK_MISSING"


def _judged(one: RowNow, facts: ItemFacts, judging: _Judging, act: Act) -> tuple[Draft, Judgement]:
    row, session = one.row, judging.session
    permissions.check_scope(act.by, depot_of(facts), act="log_test")
    if code := transitions.refusal("log_test", facts):
        raise BenchRefused(code, str(WORDS[code]))
    reading = replace(reading_of(row, session), expected=one.expected)
    paper = paper_of(row, session)
    check_reading(reading, paper, made_on=made_on_of(facts))
    draft, judgement = drafted(
        row.item, facts, reading, paper, rules=judging.rules, on_file=judging.on_file, entry_id=row.pk
    )
    more = {"batch": session.number, **({"note": row.why} if row.why else {})}
    return replace(draft, facts={**draft.facts, **more}), judgement


def _unqualified(one: RowNow, judging: _Judging, act: Act) -> Iterator[str]:
    """Whoever looked and whoever posts accept together. A qualification that ran out bars that; none on file bars
    nothing."""
    if act.by is not None and judging.qualification(act.by) == "expired":
        yield "POSTER_NOT_QUALIFIED"
    for person in (one.row.by, one.row.looked_by):
        if person is not None and judging.qualification(person) == "expired":
            yield "OPERATOR_NOT_QUALIFIED"
