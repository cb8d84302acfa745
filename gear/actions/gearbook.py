"""Bring in a gear book: a dry run that tells every line's fate, and a commit that stores all of it or nothing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256

from django.utils import timezone

from gear import permissions
from gear.actions import holders, joining, receiving
from gear.actions.acting import Act
from gear.actions.committing import Limits, commit_file, keep_file
from gear.ledger import site_zone
from gear.ledger.states import batches
from gear.models import Entry, Item
from gear.rules import gearbook, tables, values
from gear.rules.fates import KNOWN, NEW, Report, fates_of, subjects_of
from gear.rules.gearbook import GearRow
from gear.rules.moments import local_day
from gear.rules.tables import Problem

BOOK = "gear"


@dataclass(frozen=True)
class Planned:
    """A file read against the book: the report, and the rows that would be made."""

    report: Report
    rows: tuple[GearRow, ...]


def dry_run(name: str, data: bytes, *, act: Act, limits: Limits) -> Report:
    """The fate of every line of a CSV or XLSX gear book. Nothing is stored. Raises FileRefused or NotAllowed."""
    permissions.check_can(act.by, "import_files")
    return plan(name, data, act=act, limits=limits).report


def commit(name: str, data: bytes, *, act: Act, limits: Limits) -> Report:
    """Store every new row of a gear book in one transaction; nothing at all where one line is refused.

    A repeated file adds nothing. Raises FileRefused or NotAllowed.
    """
    permissions.check_can(act.by, "import_files")

    def work() -> Report:
        planned = plan(name, data, act=act, limits=limits)
        if planned.report.refused:
            return planned.report
        if planned.rows:
            receiving.register(planned.rows, act=act, moment=timezone.now())
            keep_file(BOOK, name, data, planned.report, act)
        return replace(planned.report, committed=True)

    return commit_file(BOOK, name, work, act=act)


def plan(name: str, data: bytes, *, act: Act, limits: Limits) -> Planned:
    """Read and check a file against the book as it is now."""
    table = tables.read(
        name,
        data,
        columns=gearbook.COLUMNS,
        required=gearbook.REQUIRED,
        most_bytes=limits.bytes,
        most_rows=limits.rows,
    )
    book, subjects = gearbook.parse(table, today=local_day(timezone.now(), site_zone())), subjects_of(table)
    del table  # the cells of a large book weigh more than all that follows
    known = _row_hashes([row.item_no for row in book.rows])
    differing = [
        _differs(row) for row in book.rows if row.item_no in known and known[row.item_no] != row.fingerprint
    ]
    fresh = [row for row in book.rows if row.item_no not in known]
    problems = [*book.problems, *differing, *against_the_book(fresh, act)]
    refused = {problem.line for problem in problems}
    fresh = [row for row in fresh if row.line not in refused]
    words = {row.line: NEW if row.item_no not in known else KNOWN for row in book.rows}
    words |= {row.line: KNOWN for row in book.repeats}
    report = Report(
        BOOK,
        name,
        sha256(data).hexdigest(),
        fates_of(subjects, words=words, problems=problems, notes=[*book.notes, *holders.elsewhere(fresh)]),
        _creates(fresh),
    )
    return Planned(report, tuple(fresh))


def _creates(rows: Sequence[GearRow]) -> Mapping[str, tuple[str, ...]]:
    places = [place for row in rows for place in receiving.places_of(row)]
    return {**holders.missing(places), "sets": joining.new_sets(rows)}


def _row_hashes(item_nos: Sequence[str]) -> dict[str, str]:
    """Item number -> hash of the row by which it was registered; empty for items that came otherwise."""
    found: dict[str, str] = {}
    for batch in batches(item_nos):
        found |= dict.fromkeys(Item.objects.filter(item_no__in=batch).values_list("item_no", flat=True), "")
        received = Entry.objects.filter(item__item_no__in=batch, kind="received").order_by("-position")
        found |= {
            item_no: facts.get("row_hash", "")
            for item_no, facts in received.values_list("item__item_no", "facts")
        }
    return found


def _differs(row: GearRow) -> Problem:
    return Problem(row.line, "DIFFERS", {"field": "item_no", "shown": row.item_no})


def against_the_book(rows: Sequence[GearRow], act: Act) -> Iterator[Problem]:
    """What the book has against new rows: a serial that is taken, a set of another kind, another depot."""
    yield from joining.mixed_sets(rows)
    yield from _look_alikes(rows)
    taken = _serials([row.serial for row in rows if row.serial])
    own = act.by.depot.name if act.by is not None and act.by.depot else None
    for row in rows:
        other, condition = taken.get((row.maker or "", row.serial or "", row.hand or ""), ("", ""))
        if row.serial and other:
            code = "SERIAL_DESTROYED" if condition == "destroyed" else "SERIAL_IN_BOOK"
            yield Problem(row.line, code, {"field": "serial", "shown": row.serial, "other": other})
        if own and row.depot and row.depot != own:
            yield Problem(row.line, "OUTSIDE_DEPOT", {"field": "depot", "shown": row.depot, "other": own})


def _look_alikes(rows: Sequence[GearRow]) -> Iterator[Problem]:
    """A new number that an eye in a hurry takes for one that is in the book already."""
    if not rows:
        return
    seen: dict[str, str] = {}
    for item_no in Item.objects.order_by("pk").values_list("item_no", flat=True).iterator(chunk_size=2000):
        seen.setdefault(values.skeleton(item_no), item_no)
    for row in rows:
        other = seen.get(values.skeleton(row.item_no))
        if other is not None:
            shown = {"field": "item_no", "shown": row.item_no, "other": other}
            yield Problem(row.line, "LOOKS_LIKE_IN_BOOK", shown)


def _serials(serials: Sequence[str]) -> dict[tuple[str, str, str], tuple[str, str]]:
    """(maker, serial, hand): item number and condition of the piece that bears it."""
    return {
        (maker, serial, hand): (item_no, condition)
        for batch in batches(sorted(set(serials)))
        for maker, serial, hand, item_no, condition in Item.objects.filter(serial__in=batch)
        .order_by("pk")
        .values_list("item_type__maker", "serial", "hand", "item_no", "state__condition")
    }
