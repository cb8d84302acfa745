"""Rows that stand beside entries and repeat them: each must say what its entry says, and none may be missing.

The entries are what counts. These rows are for finding, and no chain or seal of their own covers them.
"""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import F
from django.utils.translation import gettext as _

from gear.ledger.problems import Problem
from gear.models import (
    BatchHold,
    DestructionBatch,
    Entry,
    EvidenceKept,
    HoldBatch,
    Qualification,
    SightingNote,
    StaleUseNote,
)

QUALIFIED = "qualified"  # the change that a qualification's entry tells


def problems_beside() -> Iterator[Problem]:
    """Every row that differs from its entry, and every entry that lost its row. A fixed number of queries."""
    yield from _qualifications()
    yield from _destructions()
    yield from _sighting_notes()
    yield from _stale_use_notes()
    yield from _batch_holds()
    yield from _kept_as_evidence()


def span_words(row: Qualification) -> str:
    """How the entry beside a qualification begins its note: `2026-01-01 .. 2026-12-31`."""
    return f"{row.from_on.isoformat()} .. {row.until_on.isoformat()}"


def _qualifications() -> Iterator[Problem]:
    rows = {row.entry_id: row for row in Qualification.objects.select_related("person", "entry")}
    for row in rows.values():
        facts = row.entry.facts
        told = (row.entry.kind, facts.get("change"), facts.get("person"))
        same = told == ("person_changed", QUALIFIED, row.person.username)
        if not same or not str(facts.get("note", "")).startswith(span_words(row)):
            yield _problem(
                "gear_qualification", _("a qualification of %s differs from its entry") % row.person.username
            )
    told_of = Entry.objects.filter(kind="person_changed", facts__change=QUALIFIED)
    for entry in told_of.exclude(pk__in=rows).order_by("position"):
        person = entry.facts.get("person", "")
        yield _problem("gear_qualification", _("a qualification of %s lost its row") % person)


def _destructions() -> Iterator[Problem]:
    entries = {
        str(entry.pk): entry
        for entry in Entry.objects.filter(kind="destroyed", facts__has_key="batch").select_related("item")
    }
    listed: set[str] = set()
    for batch in DestructionBatch.objects.select_related("witness").order_by("number"):
        wanted = (str(batch), batch.witness.username, batch.reason, batch.by_id)
        for piece in batch.pieces:
            listed.add(piece)
            entry = entries.get(piece)
            if entry is None or wanted != _destroyed_in(entry):
                yield _problem(
                    "gear_destructionbatch", _("destruction batch %s differs from its entries") % batch
                )
                break
    for pk, entry in entries.items():
        if pk not in listed:
            where = {"batch": entry.facts["batch"], "item": entry.item}
            yield _problem("gear_destructionbatch", _("batch %(batch)s does not list %(item)s") % where)


def _destroyed_in(entry: Entry) -> tuple:
    facts = entry.facts
    return facts.get("batch"), facts.get("witness"), facts.get("reason"), entry.by_id


def _sighting_notes() -> Iterator[Problem]:
    notes = SightingNote.objects.select_related("entry__item")
    strays = notes.exclude(entry__kind="noted", entry__item=F("answer__item"))
    for note in strays.order_by("pk"):
        yield _problem(
            "gear_sightingnote", _("a note about a scrapped %s belongs elsewhere") % note.entry.item
        )


def _stale_use_notes() -> Iterator[Problem]:
    notes = StaleUseNote.objects.select_related("entry__item")
    strays = notes.exclude(entry__kind="noted", look__kind="inspected", entry__item=F("look__item"))
    for note in strays.order_by("pk"):
        told = _("a note about a %s that was used on old data belongs elsewhere") % note.entry.item
        yield _problem("gear_staleusenote", told)


def _batch_holds() -> Iterator[Problem]:
    rows = BatchHold.objects.select_related("batch", "item", "entry")
    for row in rows.order_by("pk"):
        entry = row.entry
        wanted = ("held", row.item_id, row.batch.number)
        if (entry.kind, entry.item_id, entry.facts.get("batch")) != wanted:
            told = {"batch": str(row.batch), "item": str(row.item)}
            yield _problem(
                "gear_batchhold", _("the hold of %(item)s in batch %(batch)s differs from its entry") % told
            )
    numbers = set(HoldBatch.objects.values_list("number", flat=True))
    entries = Entry.objects.filter(kind="held", facts__has_key="batch", batchhold=None).select_related("item")
    for entry in entries.order_by("item_id", "position"):
        if entry.facts["batch"] in numbers:
            told = {"batch": str(entry.facts["batch"]), "item": str(entry.item)}
            yield _problem("gear_batchhold", _("batch %(batch)s has lost the hold of %(item)s") % told)


def _kept_as_evidence() -> Iterator[Problem]:
    for row in EvidenceKept.objects.select_related("entry", "item").order_by("pk"):
        entry = row.entry
        if (entry.kind, entry.item_id, entry.facts.get("evidence")) != ("held", row.item_id, True):
            told = _("that %s is kept as evidence differs from its entry") % row.item
            yield _problem("gear_evidencekept", told)
    kept = Entry.objects.filter(kind="held", facts__evidence=True, evidencekept=None).select_related("item")
    for entry in kept.order_by("item_id", "position"):
        yield _problem("gear_evidencekept", _("that %s is kept as evidence lost its row") % entry.item)


def _problem(table: str, what: str) -> Problem:
    sentence = _("%(what)s. Compare with the paper record and an older backup.")
    return Problem(f"table:{table}", "ROW_DIFFERS", sentence % {"what": what})
