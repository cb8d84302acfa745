"""Reads about tests that others may use: tests of an item, and the check of detail rows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from itertools import islice
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from gear.ledger.chain import subject_name
from gear.ledger.problems import Problem
from gear.models import Entry, Item
from inspections.models import BenchSession, ElectricalTest
from inspections.rules import testfacts

BATCH = 400


def tests_of(item: Item) -> list[ElectricalTest]:
    """Every test of an item, newest first."""
    return list(
        ElectricalTest.objects.filter(item=item)
        .select_related("entry", "entry__by")
        .order_by("-tested_on", "-entry__recorded_at", "-pk")
    )


def tests_in_force() -> QuerySet[ElectricalTest]:
    """The row of every test that counts: that of its last correction where it was corrected, none where withdrawn."""
    later = Entry.objects.filter(corrects=OuterRef("of"), position__gt=OuterRef("entry__position"))
    of = Coalesce("entry__corrects_id", "entry_id")
    return ElectricalTest.objects.annotate(of=of).filter(~Exists(later))


def detail_problems() -> Iterator[Problem]:
    """Every detail row that is not what its entry says, and every test or corrected test that lost its row.

    Entries that state no readings have no row. One pass, two queries a batch.
    """
    about_tests = Q(kind="tested") | Q(kind="corrected", facts__replacement__kind="tested")
    entries = (
        Entry.objects.filter(about_tests).select_related("item").order_by("pk").iterator(chunk_size=BATCH)
    )
    numbers = dict(BenchSession.objects.values_list("pk", "number"))
    while batch := list(islice(entries, BATCH)):
        rows = ElectricalTest.objects.in_bulk([entry.pk for entry in batch])
        for entry in batch:
            if why := _difference(entry, rows.get(entry.pk), numbers):
                yield _problem(entry, why)
    others = ElectricalTest.objects.exclude(entry__kind="tested").select_related("entry__item").order_by("pk")
    for row in others.iterator(chunk_size=BATCH):
        if stated_test(row.entry) is None:
            yield _problem(row.entry, _("has a detail row and is no test"))


def stated_test(entry: Entry) -> tuple[Mapping[str, Any], str] | None:
    """(facts, ISO day) of the test that an entry states, or that a correction puts in its place; None for others."""
    if entry.kind == "tested":
        return entry.facts, entry.occurred_on.isoformat()
    replacement = entry.facts.get("replacement") if entry.kind == "corrected" else None
    if not isinstance(replacement, Mapping) or replacement.get("kind") != "tested":
        return None
    return replacement["facts"], replacement["occurred_on"]


def _problem(entry: Entry, why: str) -> Problem:
    subject = subject_name(entry.item)
    values = {"subject": subject, "entry": entry.pk, "why": why}
    sentence = (
        _("%(subject)s: entry %(entry)s %(why)s. Compare with the paper record and an older backup.") % values
    )
    return Problem(subject, "TEST_DETAIL_DIFFERS", sentence)


def _difference(entry: Entry, row: ElectricalTest | None, numbers: Mapping[int, str]) -> str:
    try:
        facts, day = stated_test(entry) or ({}, "")
        if not facts.get("readings"):
            return "" if row is None else _("states no readings and has a detail row")
        if row is None:
            return _("has lost its detail row")
        item_no = entry.item.item_no if entry.item else ""
        columns = testfacts.columns_of(facts, item_no=item_no, tested_on=date.fromisoformat(day))
    except (KeyError, TypeError, ValueError, ArithmeticError, AttributeError):
        return _("cannot be read")
    columns["item_id"] = entry.item_id
    if entry.kind == "corrected":
        columns["identity"] = testfacts.identity_of_correction(entry.pk)
    wrong = [name for name, value in columns.items() if getattr(row, name) != value]
    if numbers.get(row.session_id, "") != facts["readings"].get("session", ""):
        wrong.append("session")
    return _("differs from its detail row in %s") % ", ".join(wrong) if wrong else ""
