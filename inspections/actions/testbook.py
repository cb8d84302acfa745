"""Bring in a test book: a dry run that judges every line, and a commit that stores all of it or nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from hashlib import sha256
from uuid import uuid4

from django.utils import timezone

from gear import permissions
from gear.actions.acting import Act
from gear.actions.committing import Limits, commit_file, keep_file
from gear.ledger import record_many, rules_by_day, site_zone
from gear.ledger.states import batches
from gear.models import ImportedFile, Item, ItemState
from gear.rules import fold, tables
from gear.rules.fates import KNOWN, NEW, Report, fates_of, subjects_of
from gear.rules.fold import ItemFacts
from gear.rules.moments import local_day
from gear.rules.readiness import Rules
from gear.rules.tables import Problem, Table
from inspections import queries
from inspections.actions.testing import BadTest, drafted, made_on_of, row_of, says_the_same
from inspections.models import ElectricalTest
from inspections.rules import testbook, testfacts
from inspections.rules.acceptance import ACCEPTED, PROOF_TESTED_KINDS, Judgement
from inspections.rules.testbook import TestRow

BOOK = "tests"
CHUNK = 2000  # rows judged, recorded and folded together: what bounds memory


@dataclass(frozen=True)
class Given:
    """A file read in a way of its own: its table, and what else there is to say of its rows (problems, notes)."""

    table: Table
    remarks: Callable[[Sequence[TestRow]], tuple[list[Problem], list[Problem]]]


Reading = Callable[[], Given]


@dataclass
class Judging:
    """What is needed to judge rows, looked up once; and what became of them, by line."""

    own_depot: str | None
    rules: Callable[[date], Rules] = field(default_factory=rules_by_day)
    on_file: queries.Register = field(default_factory=queries.register)
    words: dict[int, str] = field(default_factory=dict)
    outcomes: dict[int, str] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    notes: list[Problem] = field(default_factory=list)
    fresh: list[TestRow] = field(default_factory=list)


def dry_run(name: str, data: bytes, *, act: Act, limits: Limits, reading: Reading | None = None) -> Report:
    """The fate of every line of a CSV or XLSX test book, judged as it would be. Nothing is stored.

    `reading` reads a file that is no test book as it stands. Raises FileRefused or NotAllowed.
    """
    permissions.check_can(act.by, "import_files")
    return plan(name, data, act=act, limits=limits, reading=reading)[0]


def commit(
    name: str,
    data: bytes,
    *,
    act: Act,
    limits: Limits,
    reading: Reading | None = None,
    kept: Callable[[ImportedFile], None] | None = None,
) -> Report:
    """Store every new test in one transaction; nothing at all where one line is refused.

    A lab result that differs from ours is a note. A repeated file adds nothing. `kept` is told, in the same
    transaction, of the file that was kept. Raises FileRefused or NotAllowed.
    """
    permissions.check_can(act.by, "import_files")

    def work() -> Report:
        report, judging = plan(name, data, act=act, limits=limits, reading=reading)
        if report.refused:
            return report
        for chunk in batches(judging.fresh, CHUNK):
            _record(chunk, judging, act)
        if judging.fresh:
            file = keep_file(BOOK, name, data, report, act)
            if kept:
                kept(file)
        return replace(report, committed=True)

    return commit_file(BOOK, name, work, act=act)


def plan(
    name: str, data: bytes, *, act: Act, limits: Limits, reading: Reading | None = None
) -> tuple[Report, Judging]:
    """Read a file and judge every row against the book as it is now."""
    given = reading() if reading else _test_book(name, data, limits)
    today, subjects = local_day(timezone.now(), site_zone()), subjects_of(given.table)
    book = testbook.parse(given.table, today=today)
    problems, notes = given.remarks(book.rows)
    del given  # the cells of a large book weigh more than all that follows
    judging = Judging(act.by.depot.name if act.by is not None and act.by.depot else None)
    # Tests of one item side by side: it is read and folded once, however the file is sorted.
    for chunk in batches(sorted(book.rows, key=lambda row: (row.item_no, row.line)), CHUNK):
        _judge(chunk, judging)
    judging.words |= {row.line: KNOWN for row in book.repeats}
    fates = fates_of(
        subjects,
        words=judging.words,
        problems=[*book.problems, *problems, *judging.problems],
        notes=[*book.notes, *notes, *judging.notes],
        outcomes=judging.outcomes,
    )
    return Report(BOOK, name, sha256(data).hexdigest(), fates), judging


def _test_book(name: str, data: bytes, limits: Limits) -> Given:
    table = tables.read(
        name,
        data,
        columns=testbook.COLUMNS,
        required=testbook.REQUIRED,
        most_bytes=limits.bytes,
        most_rows=limits.rows,
    )
    return Given(table, lambda _rows: ([], []))


def identity_of(row: TestRow) -> str:
    """The hash by which the test of a row is known again."""
    cells = testfacts.stated(row.reading(), row.paper)
    return testfacts.identity_of(row.item_no, row.tested_on, purpose=row.purpose, cells=cells)


def _states(rows: Sequence[TestRow], *, lock: bool) -> dict[str, tuple[Item, ItemFacts]]:
    found = {}
    for batch in batches(sorted({row.item_no for row in rows})):
        states = ItemState.objects.filter(item__item_no__in=batch).select_related("item").order_by("pk")
        if lock:
            states = states.select_for_update(of=("self",))
        found.update({one.item.item_no: (one.item, fold.from_json(one.facts)) for one in states})
    return found


def _judge(rows: Sequence[TestRow], judging: Judging) -> None:
    """Say what becomes of each row; a constant number of queries a batch."""
    states = _states(rows, lock=False)
    identities = {identity_of(row): row for row in rows}
    known = {
        test.identity: test
        for batch in batches(sorted(identities))
        for test in ElectricalTest.objects.filter(identity__in=batch).select_related("entry")
    }
    for identity, row in identities.items():
        test = known.get(identity)
        judging.words[row.line] = KNOWN if test else NEW
        if test is not None:
            if not says_the_same(test, row.reading(), testfacts.stated(row.reading(), row.paper)):
                judging.problems.append(_problem(row, "OTHER_TEST", "report_no", row.report_no))
        elif row.item_no not in states:
            judging.problems.append(_problem(row, "UNKNOWN_ITEM", "item_no", row.item_no))
        else:
            _judge_new(row, *states[row.item_no], judging)


def _problem(row: TestRow, code: str, name: str, shown: object, **values: object) -> Problem:
    return Problem(row.line, code, {"field": name, "shown": str(shown), **values})


def _judge_new(row: TestRow, item: Item, facts: ItemFacts, judging: Judging) -> None:
    depot, made_on = (facts.holder or {}).get("depot"), made_on_of(facts)
    if judging.own_depot and depot and depot != judging.own_depot:
        judging.problems.append(_problem(row, "OTHER_DEPOT", "item_no", row.item_no, other=depot))
        return
    if made_on and row.tested_on < made_on:
        stated = {"other": "made_on", "other_shown": made_on.isoformat()}
        judging.problems.append(_problem(row, "ORDER", "tested_on", row.tested_on, **stated))
        return
    try:
        draft, judgement = drafted(
            item, facts, row.reading(), row.paper, rules=judging.rules(row.tested_on), on_file=judging.on_file,
            entry_id=uuid4(), kept=facts.evidence is not None,
        )  # fmt: skip
    except BadTest:
        judging.problems.append(_problem(row, "NO_RULES", "tested_on", row.tested_on))
        return
    judging.fresh.append(row)
    judging.outcomes[row.line] = judgement.outcome
    judging.notes += _remarks(row, facts, judgement, draft.facts["readings"]["calibration"])


def _remarks(row: TestRow, facts: ItemFacts, judgement: Judgement, calibration: str) -> Iterator[Problem]:
    if judgement.outcome != ACCEPTED:
        codes = list(dict.fromkeys(finding.code for finding in judgement.codes))
        yield Problem(row.line, f"TEST_{judgement.outcome.upper()}", {"why": codes})
    if row.lab_result and (row.lab_result == "accept") != (judgement.outcome == ACCEPTED):
        yield Problem(row.line, "LAB_DIFFERS", {"lab": row.lab_result, "ours": judgement.outcome})
    if calibration == "not_on_file":
        yield Problem(row.line, "NOT_CALIBRATED", {"shown": row.instrument or row.lab})
    if row.breakdown is None and facts.kind in PROOF_TESTED_KINDS and judgement.outcome == ACCEPTED:
        yield Problem(row.line, "BREAKDOWN_NOT_STATED")
    if facts.destroyed:
        yield Problem(row.line, "ITEM_DESTROYED")


def _record(rows: Sequence[TestRow], judging: Judging, act: Act) -> None:
    """Judge again with the items locked, and record; what was judged and what is stored are one."""
    states = _states(rows, lock=True)
    drafts, details = [], []
    for row in rows:
        item, facts = states[row.item_no]
        draft, _judgement = drafted(
            item, facts, row.reading(), row.paper, rules=judging.rules(row.tested_on), on_file=judging.on_file,
            entry_id=uuid4(), kept=facts.evidence is not None,
        )  # fmt: skip
        drafts.append(draft)
        details.append(row_of(item, draft))
    record_many(drafts, by=act.by, via=act.via, device=act.device)
    ElectricalTest.objects.bulk_create(details, batch_size=500)
