"""The record of one item in words: every entry, what corrected it, and the tests with their readings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.utils import timezone
from django.utils.translation import gettext as _

from gear import wording
from gear.ledger import line_of
from gear.models import Entry, Item, Photo
from gear.queries import entry_words
from gear.queries.look_words import Drawn, marked_on
from gear.rules import correcting, entries
from gear.rules.fold import Line

LATE = timedelta(days=1)


@dataclass(frozen=True)
class Correction:
    """What an entry was corrected to. `says` is empty where it was withdrawn; `in_force` marks the last one."""

    entry: Entry
    when: str
    says: Sequence[tuple[str, str]]
    recorded: str
    who: str
    reason: str
    withdrawn: bool
    in_force: bool


@dataclass(frozen=True)
class Told:
    """One entry of the record. `late` is the moment of recording where that was a day or more after the event."""

    entry: Entry
    title: str
    when: str
    says: Sequence[tuple[str, str]]
    who: str
    recorded: str
    late: bool
    corrections: Sequence[Correction] = ()
    drawing: Drawn | None = None
    photos: Sequence[Photo] = ()

    @property
    def by_hand(self) -> bool:
        """Whether a person entered it; a file that is imported is history and never on time."""
        return self.entry.via in ("web", "api", "field")

    @property
    def struck(self) -> bool:
        return bool(self.corrections)


@dataclass(frozen=True)
class Test:
    """One test as it counts now, with its readings and the limits it was judged by."""

    __test__ = False  # not a test class
    on: str
    outcome: str
    outcome_word: str
    purpose: str
    readings: Sequence[tuple[str, str]]
    limits: Sequence[entry_words.Limit]
    findings: Sequence[str]
    rule_pack: str
    entry: str
    corrected: bool = field(default=False)


@dataclass(frozen=True)
class Record:
    """The whole record of an item, newest first."""

    entries: Sequence[Told]
    tests: Sequence[Test]
    has_drawing: bool = False


def record_of(
    item: Item,
    identity: Mapping[str, Any] | None = None,
    *,
    photos: Mapping[UUID, Sequence[Photo]] | None = None,
    known_at: datetime | None = None,
) -> Record:
    """Every entry about the item ever recorded, in one query. What a later program wrote is shown as it stands.

    With `known_at` only what was recorded by then, with the corrections known then. Places are drawn on a piece of the
    kind and hand that `identity` says; `photos` stand beside their entries.
    """
    recorded = Entry.objects.filter(item=item).select_related("by").order_by("position")
    found = list(recorded.filter(recorded_at__lte=known_at) if known_at else recorded)
    corrections: dict[Any, list[Entry]] = {}
    for entry in found:
        if entry.kind == "corrected":
            corrections.setdefault(entry.corrects_id, []).append(entry)
    plain = [entry for entry in found if entry.kind != "corrected"]
    newest_first = sorted(plain, key=_order, reverse=True)
    told = [
        replace(
            _told(entry, corrections.get(entry.id, []), identity or {}),
            photos=tuple((photos or {}).get(entry.id, ())),
        )
        for entry in newest_first
    ]
    return Record(told, _tests(found), any(one.drawing for one in told))


def _order(entry: Entry) -> tuple:
    try:
        severity = entries.severity(entry.kind, entry.facts)
    except (KeyError, TypeError):
        severity = 0
    return (entry.occurred_at, severity, entry.recorded_at, entry.position)


def _told(entry: Entry, corrections: Sequence[Entry], identity: Mapping[str, Any]) -> Told:
    return Told(
        entry,
        entry_words.title(entry.kind),
        _when(entry.occurred_on, entry.occurred_at, entry.precision),
        entry_words.says(entry.kind, entry.facts),
        _who(entry),
        _moment(entry.recorded_at),
        entry.recorded_at - entry.occurred_at >= LATE,
        tuple(_correction(one, entry, is_last=one is corrections[-1]) for one in corrections),
        marked_on(entry.facts, identity),
    )


def _correction(correction: Entry, entry: Entry, *, is_last: bool) -> Correction:
    new = correction.facts.get("replacement") if isinstance(correction.facts, Mapping) else None
    when = ""
    says: Sequence[tuple[str, str]] = ()
    if new is not None:
        line = correcting.replaced(line_of(entry), new)
        when = _when(line.occurred_on, line.occurred_at, line.precision)
        says = entry_words.says(line.kind, line.facts)
    return Correction(
        correction,
        when,
        says,
        _moment(correction.recorded_at),
        _who(correction),
        str(correction.facts.get("reason", "")),
        new is None,
        is_last,
    )


def _tests(found: Sequence[Entry]) -> list[Test]:
    """The tests that count, corrections applied, newest first."""
    counting = [
        line for line in correcting.corrected(line_of(entry) for entry in found) if line.kind == "tested"
    ]
    original = {entry.id: entry.facts for entry in found}
    counting.sort(key=lambda line: (line.occurred_at, line.recorded_at, str(line.id)), reverse=True)
    return [_test(line, corrected=line.facts != original[line.id]) for line in counting]


def _test(line: Line, *, corrected: bool) -> Test:
    facts = line.facts
    return Test(
        wording.day(line.occurred_on),
        str(facts.get("outcome", "")),
        entry_words.word(entry_words.OUTCOMES, facts.get("outcome")),
        entry_words.word(entry_words.PURPOSES, facts.get("purpose")),
        entry_words.readings(facts),
        entry_words.limits(facts),
        entry_words.findings(facts),
        str(facts.get("pack", "")),
        str(line.id),
        corrected,
    )


def _who(entry: Entry) -> str:
    """Who made the entry and by which way, so that an import is never taken for a person's word."""
    name = entry.by.name if entry.by else _("nobody signed in")
    return f"{name} · {entry_words.word(entry_words.WAYS, entry.via)}"


def _when(day: Any, at: Any, precision: str) -> str:
    return wording.day(day) if precision == "day" else _moment(at)


def _moment(at: Any) -> str:
    local = timezone.localtime(at)
    return f"{wording.day(local.date())} {local:%H:%M}"
