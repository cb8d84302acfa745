"""Old pairs that were replaced and are still with the person, worked out from the entries: no mark can be forgotten."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q

from gear.ledger import line_of
from gear.ledger.states import batches
from gear.models import Entry, Item
from gear.queries.questions import Question
from gear.queries.whereabouts import places
from gear.rules import exchanging, fold, moments
from gear.rules.entries import Line
from gear.rules.whereabouts import Place, Places, place_of


@dataclass(frozen=True)
class NotReturned:
    """The pieces of one old pair that are still with a person, the day it was replaced, and by what.

    `place` is where the person belongs today, or as the entry says where nobody of that name is on file.
    """

    person: str
    place: Place
    pieces: tuple[fold.ItemFacts, ...]
    by_pieces: tuple[str, ...]
    replaced_on: date
    days: int
    batch: str

    @property
    def set_no(self) -> str:
        return self.pieces[0].set_no or ""


def not_returned(asked: Question) -> list[NotReturned]:
    """Every old pair that was replaced and not handed over as of a question, the longest first.

    A piece counts from the issue that replaced it until the record says that it is elsewhere, or destroyed. One that
    came back and was issued to the same person anew does not count. In a constant number of queries.
    """
    replacing = _issues(asked)
    wanted = sorted({number for line, _item_no in replacing for number in line.facts["replaces"]})
    chains = _chains(wanted, asked)
    where = places() if asked.current else {}
    found: dict[str, NotReturned] = {}
    by: dict[str, list[str]] = {}
    first: dict[str, str] = {}  # a piece that was replaced twice stands once, under the first
    for line, item_no in sorted(replacing, key=lambda one: (one[0].occurred_at, one[1])):
        batch = str(line.facts.get("batch") or line.id)
        still = [
            fold.fold(number, chains[number], as_of_at=_until(asked), known_at=_known(asked))
            for number in line.facts["replaces"]
            if number in chains
            and first.get(number, batch) == batch
            and exchanging.still_out(number, chains[number], line, until=_until(asked))
        ]
        if still:
            first |= {one.item_no: batch for one in still}
            by.setdefault(batch, []).append(item_no)
            found[batch] = _row(line, still, where, by[batch], asked)
    return sorted(found.values(), key=lambda one: (-one.days, one.person, one.batch))


def _row(
    line: Line, still: Sequence[fold.ItemFacts], where: Places, by: Sequence[str], asked: Question
) -> NotReturned:
    holder = line.facts["holder"]
    return NotReturned(
        holder["name"],
        place_of(holder, where),
        tuple(still),
        tuple(by),
        line.occurred_on,
        (asked.as_of - line.occurred_on).days,
        str(line.facts.get("batch") or line.id),
    )


def _issues(asked: Question) -> list[tuple[Line, str]]:
    """(the issue as it counts, the number of the new piece) of every issue in the place of another pair."""
    wanted = Entry.objects.filter(kind="issued", facts__has_key="replaces", item__isnull=False)
    both = Entry.objects.filter(Q(pk__in=wanted.values("pk")) | Q(corrects__in=wanted.values("pk")))
    entries = list(both.select_related("item").order_by("recorded_at", "position"))
    numbers = {entry.pk: entry.item.item_no for entry in entries if entry.item}
    lines = exchanging.replacing(
        (line_of(entry) for entry in entries if entry.recorded_at <= _known(asked)), until=_until(asked)
    )
    return [(line, numbers[line.id]) for line in lines]


def _chains(item_nos: Iterable[str], asked: Question) -> dict[str, list[Line]]:
    """What is known of each item, by its number."""
    found: dict[str, list[Line]] = {}
    for batch in batches(list(item_nos)):
        items = Item.objects.filter(item_no__in=batch)
        if asked.current:
            items = items.filter(state__holder__kind="person")  # what is elsewhere by now is none of these
        for entry in Entry.objects.filter(item__in=items).select_related("item").order_by("item", "position"):
            if entry.item and entry.recorded_at <= _known(asked):
                found.setdefault(entry.item.item_no, []).append(line_of(entry))
    return found


def _until(asked: Question) -> datetime:
    return moments.FOR_EVER if asked.current else asked.as_of_at


def _known(asked: Question) -> datetime:
    return asked.known_at or moments.FOR_EVER
