"""Receive many pieces as one act, all or nothing: a range of numbers and serials, made and mated at once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any
from uuid import uuid5

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import permissions, wording
from gear.actions import gearbook, receipt, receiving
from gear.actions.acting import Act, Refused, keeping_refusals
from gear.actions.committing import committed
from gear.ledger import site_zone
from gear.ledger.states import batches
from gear.models import GearSet, Item
from gear.rules import gearbook as book
from gear.rules.delivery import Delivery, rows_of
from gear.rules.gearbook import GearRow
from gear.rules.hashing import canonical
from gear.rules.moments import local_day
from gear.rules.tables import Problem, Row, Table

# fields of a row that are counted up; what is wrong with any other concerns all rows alike
COUNTED = frozenset({"item_no", "serial", "set_no", "hand"})
SENTENCES = {
    **receipt.SENTENCES,
    "SET_IN_BOOK": gettext_lazy("{field} {shown} was used before. Begin with a free number."),
    "SERIAL_SHORT": gettext_lazy("{shown} gets no serial: there are {serials} serials for {count} pieces."),
    "SERIAL_LEFT": gettext_lazy("Serial {shown} belongs to no piece: there are {serials} serials for {count} pieces."),
}  # fmt: skip


@dataclass(frozen=True)
class Planned:
    """A batch read against the book: the rows it would make, what is wrong with it, and what is worth a note."""

    rows: tuple[GearRow, ...]
    cells: tuple[Row, ...]
    problems: tuple[Problem, ...]
    notes: tuple[Problem, ...] = ()

    @property
    def fingerprint(self) -> str:
        """What was shown before it is received: another statement has another."""
        return sha256(canonical([row.fingerprint for row in self.rows])).hexdigest()


class BadBatch(Refused):
    """A batch that cannot be received as stated. `problems` are told by line; line 0 is the statement itself."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.code = "BAD_BATCH"
        self.problems = tuple(problems)
        told = " ".join(sentence_of(problem, {}) for problem in self.problems[:3])
        Exception.__init__(self, told)


def sentence_of(problem: Problem, names: Mapping[str, object]) -> str:
    """What is wrong, with its line where it has one. `names` stand for the fields as a form calls them."""
    field = str(problem.values.get("field", ""))
    called = {**problem.values, "field": str(names.get(field, field))}
    sentence = wording.line_problem(Problem(problem.line, problem.code, called), SENTENCES)
    return (
        _("Line %(line)s: %(sentence)s") % {"line": problem.line, "sentence": sentence}
        if problem.line
        else sentence
    )


def plan(batch: Delivery, *, act: Act) -> Planned:
    """Read and check a batch against the book as it is now. Nothing is stored. Raises NotAllowed."""
    permissions.check_can(act.by, "receive")
    today = local_day(timezone.now(), site_zone())
    shared = {name: cell.strip() for name, cell in batch.shared.items() if cell.strip()}
    shared.setdefault("received_on", today.isoformat())
    problems = receipt.put_on_shelf(shared, act)
    rows, found = rows_of(_with(batch, shared))
    problems += found
    if rows:
        problems += _of_all(rows[0], batch.kind, today)
    if any(not problem.line for problem in problems) or not rows:
        return Planned((), tuple(rows), tuple(problems))
    read = book.parse(Table(tuple(rows)), today=today)
    problems += [*read.problems, *_against_the_book(read.rows, act)]
    problems.sort(key=lambda problem: problem.line)
    return Planned(read.rows, tuple(rows), tuple(problems), read.notes)


def _with(batch: Delivery, shared: Mapping[str, str]) -> Delivery:
    return Delivery(**{**vars(batch), "shared": shared})


def _of_all(first: Row, kind: str, today: Any) -> Iterator[Problem]:
    """What is wrong with what all rows share, told once."""
    _row, found = book.parse_row(first, today=today)
    told = {problem.values.get("field") for problem in found}
    yield from (
        Problem(0, problem.code, problem.values)
        for problem in found
        if problem.values.get("field") not in COUNTED
    )
    for name in receipt.needed(kind):
        if name not in COUNTED and name not in first.cells and name not in told:
            yield Problem(0, "MISSING", {"field": name})
    if "hand" in receipt.needed(kind) and "hand" not in first.cells:
        yield Problem(0, "MISSING", {"field": "pieces"})


def _against_the_book(rows: Sequence[GearRow], act: Act) -> Iterator[Problem]:
    taken = _known(Item, "item_no", [row.item_no for row in rows])
    for row in rows:
        if row.item_no in taken:
            yield Problem(row.line, "IN_BOOK", {"field": "item_no", "shown": row.item_no})
    yield from gearbook.against_the_book([row for row in rows if row.item_no not in taken], act)
    sets = _known(GearSet, "set_no", [row.set_no for row in rows if row.set_no])
    for row in rows:
        if row.set_no in sets:
            yield Problem(row.line, "SET_IN_BOOK", {"field": "set_no", "shown": row.set_no})


def _known(model: Any, name: str, wanted: Sequence[str]) -> set[str]:
    return {
        value
        for batch in batches(sorted(set(wanted)))
        for value in model.objects.filter(**{f"{name}__in": batch}).values_list(name, flat=True)
    }


def receive_batch(batch: Delivery, *, papers: str = "", act: Act) -> list[Item]:
    """Register every piece of a batch, ok and on a shelf, with its label code and its set; all of them or none.

    `papers` is a note on what came with it, a maker's test for instance: it is kept and proves nothing, and no piece
    can be issued before its first accepted test. Raises NotAllowed or BadBatch; then nothing was stored but the
    refusal.
    """
    with keeping_refusals("receive", f"{batch.first_no} and on, {batch.total}"[:80], act):
        permissions.check_can(act.by, "receive")
        return committed(lambda: _received(batch, papers, act))


def _received(batch: Delivery, papers: str, act: Act) -> list[Item]:
    planned = plan(batch, act=act)
    if planned.problems:
        raise BadBatch(planned.problems)
    facts = {"batch": str(act.id), **({"note": papers} if papers else {})}
    ids = [uuid5(act.id, row.item_no) for row in planned.rows]
    return receiving.register(planned.rows, act=act, moment=timezone.now(), ids=ids, facts=facts)
