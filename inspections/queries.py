"""Reads about tests that others may use: tests of an item, the register of instruments, the check of detail rows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from itertools import islice

from gear.models import Entry, Item
from inspections.models import ElectricalTest, Instrument
from inspections.rules import testfacts
from inspections.rules.testfacts import Paper

BATCH = 400
Register = Mapping[str, date | None]


def register() -> Register:
    """Name, in lower case, of every instrument and lab on file, with the last day of its calibration or None."""
    return {
        name.casefold(): due for name, due in Instrument.objects.values_list("name", "calibration_due_on")
    }


def calibration_on(paper: Paper, tested_on: date, on_file: Register) -> str:
    """One of testfacts.CALIBRATIONS for the instrument and lab named: expired where either is, else on file where
    either is."""
    named = [name.casefold() for name in (paper.instrument, paper.lab) if name]
    dues = [due for name in named if (due := on_file.get(name)) is not None]
    if not named:
        return "not_stated"
    if not dues:
        return "not_on_file"
    return "on_file" if all(tested_on <= due for due in dues) else "expired"


def tests_of(item: Item) -> list[ElectricalTest]:
    """Every test of an item, newest first."""
    return list(
        ElectricalTest.objects.filter(item=item)
        .select_related("entry", "entry__by")
        .order_by("-tested_on", "-entry__recorded_at", "-pk")
    )


def detail_problems() -> Iterator[str]:
    """A sentence for every detail row that is not what its entry says, and every tested entry without its row.

    Entries that state no readings have no row. One pass, two queries a batch.
    """
    entries = (
        Entry.objects.filter(kind="tested").select_related("item").order_by("pk").iterator(chunk_size=BATCH)
    )
    met = 0
    while batch := list(islice(entries, BATCH)):
        rows = {row.pk: row for row in ElectricalTest.objects.filter(pk__in=[entry.pk for entry in batch])}
        met += len(rows)
        for entry in batch:
            yield from _problem(entry, rows.get(entry.pk))
    if met != (count := ElectricalTest.objects.count()):
        yield f"{count - met} rows of electrical tests belong to no tested entry"


def _problem(entry: Entry, row: ElectricalTest | None) -> Iterable[str]:
    subject = f"{entry.item.item_no}: test {entry.pk}" if entry.item else f"test {entry.pk}"
    if not entry.facts.get("readings"):
        return [] if row is None else [f"{subject} has a detail row and no readings"]
    if row is None:
        return [f"{subject} has lost its detail row"]
    try:
        columns = testfacts.columns_of(
            entry.facts, item_no=entry.item.item_no, tested_on=entry.occurred_on
        ) | {"item_id": entry.item_id}
    except (KeyError, TypeError, ValueError, ArithmeticError, AttributeError):
        return [f"{subject} cannot be read"]
    return [
        f"{subject} differs from its entry in {name}"
        for name, value in columns.items()
        if getattr(row, name) != value
    ]
