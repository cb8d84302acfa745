"""Check visitors' gear in: all of it into the book or nothing, then the looks, then what the owner's paper proves."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4, uuid5

from django.utils import timezone
from django.utils.translation import gettext_lazy

from gear import permissions, wording
from gear.actions import gearbook, receiving
from gear.actions.acting import Act, keeping_refusals, many_facts_now
from gear.actions.committing import committed
from gear.actions.holders import Place
from gear.ledger import Draft, record_many, rules_by_day, site_zone
from gear.models import Entry, GearSet, Holder, Item, ItemState, User
from gear.queries.people import qualification_on
from gear.rules import gearbook as book
from gear.rules.fold import ItemFacts
from gear.rules.moments import local_day
from gear.rules.tables import Problem, Table
from inspections import queries
from inspections.actions.testing import BadTest, check_reading, drafted, row_of
from inspections.actions.visits import VisitRefused, still_open, today
from inspections.models import ElectricalTest, Visit, VisitPiece, VisitRow
from inspections.rules import testbook, visiting
from inspections.rules.testbook import TestRow
from inspections.rules.visiting import Piece

BACK = "Was away with its owner. To be looked at before use."  # kept in the record, so it is not translated
TABLE = "Visitors' check-in"  # where pieces lie while they are taken in; stands in the record, so it is not translated


@dataclass(frozen=True)
class Planned:
    """The rows that are not in the book yet, the pieces they would be, and what is wrong with each row, by its key."""

    rows: tuple[VisitRow, ...]
    pieces: tuple[Piece, ...]
    gear: tuple[book.GearRow, ...]
    tests: Mapping[int, TestRow]
    known: Mapping[int, Item]
    problems: Mapping[UUID, list[Problem]]


def plan(visit: Visit) -> Planned:
    """Read every row that is not in the book against the book as it is now; a constant number of queries."""
    rows = tuple(visit.rows.filter(pieces__isnull=True).order_by("place"))
    cells = [visiting.merged(row.cells, visit.shared) for row in rows]
    pieces = visiting.pieces_of(
        cells,
        owner=visit.organisation,
        depot=visit.depot.name if visit.depot else None,
        received_on=today().isoformat(),
        items=visiting.counted_on(visiting.ITEMS, _taken(Item, "item_no", visiting.ITEMS)),
        sets=visiting.counted_on(visiting.SETS, _taken(GearSet, "set_no", visiting.SETS)),
    )
    known = _were_here(visit, pieces)
    read = book.parse(Table(tuple(one.gear for one in pieces)), today=today())
    fresh = [row for row in read.rows if row.line not in known]
    found = [*read.problems, *_against_the_book(visit, fresh, pieces)]
    tests, wrong = _tests(pieces)
    at = {one.line: rows[one.at].pk for one in pieces}
    problems: dict[UUID, list[Problem]] = {}
    for problem in [*found, *wrong]:
        if isinstance(
            other := problem.values.get("other"), int
        ):  # another piece: told as the row that it is of
            problem = replace(problem, values={**problem.values, "other": rows[pieces[other - 1].at].place})
        problems.setdefault(at[problem.line], []).append(problem)
    for row, merged in zip(rows, cells, strict=True):
        told = {problem.values.get("field") for problem in problems.get(row.pk, [])}
        missing = [name for name in visiting.needs(merged.get("kind", "")) if name not in merged]
        for name in (one for one in missing if one not in told):
            problems.setdefault(row.pk, []).append(Problem(row.place, "MISSING", {"field": name}))
    return Planned(rows, tuple(pieces), read.rows, tests, known, problems)


def _taken(model: Any, name: str, head: str) -> list[str]:
    return list(model.objects.filter(**{f"{name}__startswith": head}).values_list(name, flat=True))


def _tests(pieces: Sequence[Piece]) -> tuple[dict[int, TestRow], list[Problem]]:
    """What the paper is said to say, by line; a statement without a day is none, one that cannot be is a problem."""
    tests, problems = {}, []
    for piece in pieces:
        if "tested_on" not in piece.test.cells:
            continue
        row, found = testbook.parse_row(piece.test, today=today())
        problems += found
        if row is not None:
            tests[piece.line] = row
    return tests, problems


def _against_the_book(
    visit: Visit, rows: Sequence[book.GearRow], pieces: Sequence[Piece]
) -> Iterator[Problem]:
    """A maker's serial is unique for its maker; a number that names no maker is the owner's, unique among theirs."""
    yield from gearbook.against_the_book([row for row in rows if row.maker], NOBODYS)
    numbers = {row.serial for row in rows if row.serial and not row.maker}
    here = {
        (item.serial, item.hand): item.item_no
        for item in Item.objects.filter(
            serial__in=numbers, item_type__maker="", pk__in=_pieces_of(visit.organisation)
        )
    }
    for row in rows:
        other = here.get((row.serial or "", row.hand or "")) if not row.maker else None
        if other:
            yield Problem(
                row.line, "SERIAL_IN_BOOK", {"field": "number", "shown": row.serial, "other": other}
            )


NOBODYS = Act(None)  # a visitor's gear belongs to no depot of ours


def _pieces_of(organisation: str) -> Any:
    return VisitPiece.objects.filter(visit__organisation=organisation).values("item")


def _were_here(visit: Visit, pieces: Sequence[Piece]) -> dict[int, Item]:
    """Pieces of this owner that went home and are back: they keep their numbers, their labels and their record."""
    numbers = {one.number for one in pieces if one.number}
    states = ItemState.objects.filter(
        item__in=_pieces_of(visit.organisation), item__serial__in=numbers, facts__has_key="away"
    ).select_related("item__item_type")
    home = {_marks(one.item): one.item for one in states}
    return {one.line: home[key] for one in pieces if (key := _stated_marks(one)) in home}


def _marks(item: Item) -> tuple:
    kind = item.item_type
    return (item.serial, item.hand, kind.maker, kind.kind, kind.cls, str(kind.length_mm or ""))


def _stated_marks(piece: Piece) -> tuple:
    cells = piece.gear.cells
    names = ("hand", "maker", "kind", "class", "length_mm")
    return (piece.number, *(cells.get(name, "") for name in names))


def check_in(number: str, *, act: Act) -> Visit:
    """Put every row that is not in the book into it, then record the looks, then judge the owner's papers.

    All of it or nothing. The pieces are in their people's hands, because that is where they are, and each is as good
    as its record: without a test that our rules accept it is `stop`. A foreman may check in; papers are judged by
    whoever may log tests, then or on the next call. Raises NotAllowed or VisitRefused.
    """

    def work() -> Visit:
        visit = still_open(number, act)
        planned = plan(visit)
        if planned.problems:
            raise VisitRefused("BAD_ROWS", count=len(planned.problems))
        if not planned.rows and not visit.pieces.exists():
            raise VisitRefused("NOTHING_KEPT")
        _take_in(visit, planned, act)
        _keep_looks(visit, act)
        if permissions.can(act.by, "log_test"):
            _judge_papers(visit, act)
        return visit

    with keeping_refusals("take_in_others", number, act):
        return committed(work)


def _take_in(visit: Visit, planned: Planned, act: Act) -> None:
    moment = timezone.now()
    fresh = [row for row in planned.gear if row.line not in planned.known]
    items = receiving.register(
        fresh,
        act=replace(act, id=uuid4()),
        moment=moment,
        ids=[uuid5(act.id, row.item_no) for row in fresh],
        facts={"owner": visit.organisation, "batch": visit.number},
        waiting=Place("shelf", TABLE, None, visit.depot.name if visit.depot else None),
    )
    of_line = dict(planned.known) | {row.line: item for row, item in zip(fresh, items, strict=True)}
    drafts = [draft for one in planned.pieces for draft in _beside(one, of_line[one.line], planned, moment)]
    record_many(drafts, by=act.by, via=act.via, device=act.device)
    for row in planned.rows:
        row.cells = visiting.merged(row.cells, visit.shared)  # what is in the book was stated so
    VisitRow.objects.bulk_update(planned.rows, ["cells"])
    VisitPiece.objects.bulk_create(
        VisitPiece(visit=visit, item=of_line[one.line], row=planned.rows[one.at], person=one.person)
        for one in planned.pieces
    )


def _beside(piece: Piece, item: Item, planned: Planned, moment: datetime) -> Iterator[Draft]:
    """What the owner said of a piece, in the record whatever it proves; and that one which was here before is back."""
    if piece.line in planned.known:
        row = next(one for one in planned.gear if one.line == piece.line)
        holder = Place(row.holder_kind, row.holder, None, row.depot)
        Holder.objects.get_or_create(kind=holder.kind, name=holder.name)
        stated = {"holder": holder.as_fact(), "first_issue_known": False}
        yield Draft(item, "issued", stated, occurred_at=moment)
        # The test that counted at the last visit may count still; what happened to the piece since, nobody here saw.
        yield Draft(item, "needs_cleaning", {"reason": BACK}, occurred_at=moment)
    yield Draft(item, "noted", {"note": stated_by_owner(piece)}, occurred_at=moment)


def stated_by_owner(piece: Piece) -> str:
    """What stands in the record of what the owner says: not translated, because it is kept."""
    cells = piece.test.cells
    said = ", ".join(
        f"{name} {cells[name]}"
        for name in (
            "tested_on",
            "lab",
            "report_no",
            "lab_result",
            "supply",
            "applied_v",
            "seconds",
            "leakage_ma",
        )
        if cells.get(name)
    )
    return f"Stated by the owner: {said}." if said else "The owner states no test."


def _keep_looks(visit: Visit, act: Act) -> None:
    """An `inspected` entry for every piece of a row that was looked at, in the name of whoever looked."""
    by_inspector: dict[User | None, list[Draft]] = {}
    pieces = list(visit.pieces.exclude(row__look="").select_related("row__looked_by", "item").order_by("pk"))
    ids = {one.pk: uuid5(one.row_id, f"look {one.item_id}") for one in pieces}
    there = set(Entry.objects.filter(pk__in=list(ids.values())).values_list("pk", flat=True))
    for one in (each for each in pieces if ids[each.pk] not in there):
        row = one.row
        facts = {"outcome": row.look, "scope": "tool_room", "note": f"at check-in, {visit.number}"}
        if row.look == "accept" and row.looked_by:
            facts["qualification"] = qualification_on(row.looked_by, local_day(row.looked_at, site_zone()))
        # A look that was given while the row was keyed counts from the receipt of the piece on.
        draft = Draft(one.item, "inspected", facts, occurred_at=timezone.now(), id=ids[one.pk])
        by_inspector.setdefault(row.looked_by, []).append(draft)
    for inspector, drafts in by_inspector.items():
        record_many(drafts, by=inspector, via=act.via, device=act.device)


def _judge_papers(visit: Visit, act: Act) -> None:
    """A `tested` entry for every piece whose paper was seen here and says all that a test must say."""
    pieces = list(visit.pieces.select_related("row", "item").order_by("pk"))
    ids = {one.pk: uuid5(one.row_id, f"test {one.item_id}") for one in pieces}
    there = set(Entry.objects.filter(pk__in=list(ids.values())).values_list("pk", flat=True))
    wanted = [one for one in pieces if ids[one.pk] not in there]
    facts = many_facts_now([one.item for one in wanted]) if wanted else {}
    on_file, rules, drafts, rows = queries.register(), rules_by_day(), [], []
    for one, test in _statements(visit, wanted):
        draft = _judged(one, test, facts[one.item_id], rules=rules, on_file=on_file, entry_id=ids[one.pk])
        if draft is not None:
            note = f"Owner's paper, seen at check-in {visit.number}; looked at by {one.row.looked_by.name}."
            drafts.append(replace(draft, facts={**draft.facts, "note": note}))
            rows.append(row_of(one.item, draft))
    # A crew that comes back with the same report: the test is on record from its first visit.
    known = ElectricalTest.objects.filter(identity__in=[row.identity for row in rows])
    old = set(known.values_list("identity", flat=True))
    new = [(draft, row) for draft, row in zip(drafts, rows, strict=True) if row.identity not in old]
    if new:
        record_many([draft for draft, _row in new], by=act.by, via=act.via, device=act.device)
        ElectricalTest.objects.bulk_create([row for _draft, row in new], batch_size=500)


def statement(one: VisitPiece) -> Piece:
    """The piece as its row states it, under the number that it has."""
    return visiting.kept_piece(one.row.cells, item_no=one.item.item_no, hand=one.item.hand)


def _statements(visit: Visit, pieces: Sequence[VisitPiece]) -> Iterator[tuple[VisitPiece, TestRow]]:
    for one in pieces:
        piece = statement(one)
        if visiting.lacks(piece, papers=visit.papers, look=one.row.look):
            continue
        row, problems = testbook.parse_row(piece.test, today=today())
        if row is not None and not problems:
            yield one, row


def _judged(
    one: VisitPiece, test: TestRow, facts: ItemFacts, *, rules: Any, on_file: Any, entry_id: UUID
) -> Draft | None:
    reading = test.reading()
    try:
        check_reading(reading, test.paper, made_on=None)
        draft, _judgement = drafted(
            one.item,
            facts,
            reading,
            test.paper,
            rules=rules(test.tested_on),
            on_file=on_file,
            entry_id=entry_id,
            kept=facts.evidence is not None,
        )
    except BadTest:
        return None
    return draft


FIELDS = {"serial": "number"}
SENTENCES = {
    "NOT_A_COLUMN": gettext_lazy("There is no column {shown}."),
    "COLUMN_TWICE": gettext_lazy("The column {shown} stands twice."),
}


def sentence_of(problem: Problem) -> str:
    """What is wrong with a row, the columns under the names that the page gives them."""
    field = str(problem.values.get("field", ""))
    called = {**problem.values, "field": FIELDS.get(field, field)}
    return wording.line_problem(Problem(0, problem.code, called), SENTENCES)
