"""What rests on an instrument that was found wrong, and where it is now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q, QuerySet

from gear.queries import Question
from gear.queries.whereabouts import pieces
from gear.rules.whereabouts import Found
from inspections.models import ElectricalTest, Instrument
from inspections.queries.electrical import tests_in_force
from inspections.queries.instruments import CELLS, history_of, named
from inspections.rules import tracing
from inspections.rules.tracing import Acceptance, Span


@dataclass(frozen=True)
class Trace:
    """What was found. `carried` rest on the instrument and can be held; each is `about` its Acceptance.

    `ended` rest on it too, but that counts for nothing any more: they failed, were rejected or destroyed, or need a
    test since an event. `unreadable` cannot be held and are `unknown` anyway. `nameless` counts the accepted tests
    of that time that name neither instrument nor lab.
    """

    instrument: Instrument
    found_on: date
    wrong: Span
    carried: tuple[Found, ...]
    ended: tuple[Found, ...]
    unreadable: tuple[Found, ...]
    nameless: int

    @property
    def usable(self) -> int:
        return sum(one.usable for one in self.carried)


def trace(instrument: Instrument, found_on: date, asked: Question) -> Trace:
    """Every item whose acceptance rests on an instrument that was found wrong on a day, as things stand now.

    The number of queries does not grow with the tests, and with the items only by thousands.
    """
    wrong = tracing.span(history_of(instrument), found_on)
    resting = _resting(instrument, wrong)
    found = pieces(resting, asked, about=resting)
    readable = [one for one in found if one.facts.unreadable != ["state"]]
    return Trace(
        instrument,
        found_on,
        wrong,
        tuple(one for one in readable if not tracing.has_ended(one.facts)),
        tuple(one for one in readable if tracing.has_ended(one.facts)),
        tuple(one for one in found if one.facts.unreadable == ["state"]),
        _within(wrong).filter(**dict.fromkeys(_told_by(instrument), "")).count(),
    )


def _within(wrong: Span) -> QuerySet[ElectricalTest]:
    days = Q()
    if wrong.since is not None:
        days &= Q(tested_on__gte=wrong.since)
    if wrong.through is not None:
        days &= Q(tested_on__lte=wrong.through)
    return tests_in_force().filter(days, outcome="accepted")


def _resting(instrument: Instrument, wrong: Span) -> dict[int, Acceptance]:
    """item pk: the acceptance by the instrument that it rests on."""
    candidates = _within(wrong).filter(named(instrument.name)).order_by()
    accepted = tests_in_force().filter(outcome="accepted", item__in=candidates.values("item"))
    if wrong.since is not None:
        accepted = accepted.filter(tested_on__gte=wrong.since)
    of_item: dict[int, list[Acceptance]] = {}
    for row in accepted.select_related("entry__corrects").iterator(chunk_size=2000):
        of_item.setdefault(row.item_id, []).append(acceptance_of(row, instrument))
    found = {pk: tracing.carried_by(had, instrument.name, wrong) for pk, had in of_item.items()}
    return {pk: one for pk, one in found.items() if one is not None}


def _told_by(instrument: Instrument) -> tuple[str, ...]:
    """The cells of a test that tell whether it was made with the instrument: which meter says nothing of the bench."""
    return CELLS if instrument.kind == "bench" else ("instrument", "lab")


def acceptance_of(row: ElectricalTest, instrument: Instrument) -> Acceptance:
    """An accepted test as the rules see it, in the place where the record sorts it, corrected or not.

    Of a bench, what names the bench counts; where a test names none, its instrument stands for the whole.
    """
    first = row.entry.corrects or row.entry
    moment = first.occurred_at
    if row.entry.kind == "corrected":
        moment = datetime.fromisoformat(row.entry.facts["replacement"]["occurred_at"])
    made_with = (row.bench or row.instrument) if instrument.kind == "bench" else row.instrument
    names = {name.casefold() for name in (made_with, row.lab) if name}
    if instrument.name.casefold() in {getattr(row, cell).casefold() for cell in CELLS}:
        names.add(instrument.name.casefold())
    return Acceptance(row.tested_on, frozenset(names), (moment, first.recorded_at, str(first.pk)), row)
