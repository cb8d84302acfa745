"""Two reports of one day side by side: as known then, and as known now; which rows differ, and in what."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields

from reports.rules.overdue import Line, OverdueReport

LISTS = ("usable_now", "off_the_road", "due_soon")
IN_NO_LIST, NOT_IN_BOOK = "in_no_list", "not_in_book"


@dataclass(frozen=True)
class Placed:
    """In which list of a report a piece stands and its line; or that it stands in none (`line` is None) and why."""

    list: str
    line: Line | None = None


@dataclass(frozen=True)
class Pair:
    """One piece in both reports."""

    item_no: str
    then: Placed
    now: Placed

    @property
    def same(self) -> bool:
        return self.then == self.now

    @property
    def changed(self) -> tuple[str, ...]:
        """The fields that differ, `list` first where it stands elsewhere."""
        found = ["list"] if self.then.list != self.now.list else []
        if self.then.line is not None and self.now.line is not None:
            found += [
                one.name
                for one in fields(Line)
                if getattr(self.then.line, one.name) != getattr(self.now.line, one.name)
            ]
        return tuple(found)


def pairs(
    then: OverdueReport, now: OverdueReport, *, in_book_then: frozenset[str], in_book_now: frozenset[str]
) -> tuple[Pair, ...]:
    """Every piece that stands in a list of either report, those that differ first, by number.

    `in_book_...` are the pieces that were in the book: one in no list was good, destroyed or gone home.
    """
    before, after = dict(_placed(then)), dict(_placed(now))
    found = [
        Pair(
            item_no,
            _of(item_no, before, in_book_then),
            _of(item_no, after, in_book_now),
        )
        for item_no in sorted(before.keys() | after.keys())
    ]
    return tuple(sorted(found, key=lambda one: one.same))


def _of(item_no: str, placed: Mapping[str, Placed], in_book: frozenset[str]) -> Placed:
    return placed.get(item_no) or Placed(IN_NO_LIST if item_no in in_book else NOT_IN_BOOK)


def _placed(report: OverdueReport) -> Iterator[tuple[str, Placed]]:
    for one, prefix in ((report, ""), (report.visitors, "visitors_")):
        for name in LISTS if one else ():
            for line in getattr(one, name):
                yield line.item_no, Placed(f"{prefix}{name}", line)


# What the week adds to a line of the file: who closes it and what stands ready is another matter on another day.
OF_THE_WEEK = frozenset({"open_since", "still_open", "owner", "promised_on", "replacement"})


def rows_that_differ(ours: list[list[str]], theirs: list[list[str]], *, key: int) -> tuple[str, ...]:
    """The pieces whose rows are not the same in two files, by number; `key` is the column that holds it.

    A row that stands twice differs from one that stands once.
    """
    before, after = _by_key(ours, key), _by_key(theirs, key)
    return tuple(sorted(one for one in before.keys() | after.keys() if before.get(one) != after.get(one)))


def _by_key(rows: list[list[str]], key: int) -> dict[str, list[list[str]]]:
    found: dict[str, list[list[str]]] = {}
    for row in rows:
        found.setdefault(row[key] if len(row) > key else "", []).append(row)
    return found
