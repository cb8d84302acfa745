"""ItemState: the folded facts of every item as known now. A cache; the entries are the truth."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime
from itertools import groupby

from django.db import transaction

from gear.ledger import rulebook
from gear.ledger.chain import line_of, site_zone
from gear.ledger.writers import join_writers
from gear.models import Entry, GearSet, Holder, Item, ItemState
from gear.rules import fold, readiness
from gear.rules.clocks import Clock
from gear.rules.moments import FOR_EVER, local_day

COLUMNS = (
    "holder_id",
    "gear_set_id",
    "condition",
    "usable_now",
    "good_through",
    "winning_clock",
    "last_test_on",
    "first_issued_on",
    "label",
    "facts",
    "entry_count",
    "head_hash",
)
_FIELDS = [name.removesuffix("_id") for name in COLUMNS]
BATCH = 400


def batches(values: Iterable, size: int = BATCH) -> Iterator[list]:
    """The values in lists of at most `size`."""
    values = list(values)
    for start in range(0, len(values), size):
        yield values[start : start + size]


def refresh(states: Mapping[int, ItemState]) -> None:
    """Fold the entries of these items again and store their states."""
    folder = Folder()
    for batch in batches(states):
        for pk, columns in folder.columns_of(batch):
            for name, value in columns.items():
                if name not in ("entry_count", "head_hash"):
                    setattr(states[pk], name, value)
    # An upsert of whole rows: a tenth of the time that bulk_update's CASE for every column and row takes.
    ItemState.objects.bulk_create(
        states.values(), update_conflicts=True, unique_fields=["item"], update_fields=_FIELDS, batch_size=200
    )


class Folder:
    """Folds many items with a constant number of queries per batch."""

    def __init__(self):
        self.rulebook = Rulebook()
        self.holders: dict[tuple[str, str], int] = {}
        self.sets: dict[str, int] = {}

    def columns_of(self, pks: list[int]) -> Iterator[tuple[int, dict]]:
        """(item pk, values of COLUMNS) for each item, from its entries."""
        numbers = dict(Item.objects.filter(pk__in=pks).values_list("pk", "item_no"))
        found = Entry.objects.filter(item_id__in=pks).order_by("item_id", "position")
        chains = {pk: list(chain) for pk, chain in groupby(found, key=lambda entry: entry.item_id)}
        folded = {
            pk: fold.fold(number, map(line_of, chains.get(pk, [])), as_of_at=FOR_EVER, known_at=FOR_EVER)
            for pk, number in numbers.items()
        }
        self._look_up(folded.values())
        for pk, facts in folded.items():
            chain = chains.get(pk, [])
            yield (
                pk,
                {
                    **self._columns(facts, chain[-1].recorded_at if chain else None),
                    "entry_count": len(chain),
                    "head_hash": chain[-1].hash if chain else "",
                },
            )

    def _look_up(self, folded: Iterable[fold.ItemFacts]) -> None:
        wanted = {(facts.holder["kind"], facts.holder["name"]) for facts in folded if facts.holder}
        if names := {name for _kind, name in wanted - self.holders.keys()}:
            for batch in batches(sorted(names)):
                self.holders |= {
                    (holder.kind, holder.name): holder.pk for holder in Holder.objects.filter(name__in=batch)
                }
        if numbers := {facts.set_no for facts in folded if facts.set_no} - self.sets.keys():
            for batch in batches(sorted(numbers)):
                self.sets |= dict(GearSet.objects.filter(set_no__in=batch).values_list("set_no", "pk"))

    def _columns(self, facts: fold.ItemFacts, newest: datetime | None) -> dict:
        earliest = self.rulebook.earliest_clock(facts, newest)
        holder = (facts.holder["kind"], facts.holder["name"]) if facts.holder else None
        return {
            "holder_id": self.holders.get(holder),
            "gear_set_id": self.sets.get(facts.set_no),
            "condition": facts.condition,
            "usable_now": facts.usable,
            "label": facts.label or "",
            "good_through": earliest.good_through if earliest else None,
            "winning_clock": earliest.name if earliest else "",
            "last_test_on": facts.last_test_on,
            "first_issued_on": facts.first_issued_on,
            "facts": fold.to_json(facts),
        }


class Rulebook:
    """The rules that a state is folded under: those of the day of its newest entry, and all that are due to follow.

    A state then follows from entries alone. It is the same on whatever day it is folded, and on the day when a
    policy comes into force no job has to run: its date is already the earliest under any of these rules.
    """

    def __init__(self):
        lines, self.rules = rulebook.lines_and_rules()
        self.days = rulebook.change_days(lines)
        self.known_on = max((local_day(line.recorded_at, site_zone()) for line in lines), default=date.min)

    def earliest_clock(self, facts: fold.ItemFacts, newest: datetime | None) -> Clock | None:
        """The clock that ends first for an item whose newest entry was recorded at `newest`, or None without any."""
        folded_on = max(local_day(newest, site_zone()) if newest else date.min, self.known_on)
        first = max(bisect_right(self.days, folded_on) - 1, 0)
        winners = [
            running[0]
            for day in self.days[first:]
            if (running := readiness.running_clocks(facts, self.rules(day)))
        ]
        return min(winners, key=lambda clock: clock.good_through, default=None)


def differing() -> Iterator[tuple[str, str]]:
    """(item number, column) of every state that is not what its entries fold to; missing states too."""
    folder = Folder()
    for batch in batches(Item.objects.order_by("pk").values_list("pk", flat=True)):
        states = {state.pk: state for state in ItemState.objects.filter(pk__in=batch).select_related("item")}
        for pk, columns in folder.columns_of(batch):
            if pk not in states:
                yield Item.objects.get(pk=pk).item_no, "state"
                continue
            for name, value in columns.items():
                if getattr(states[pk], name) != value:
                    yield states[pk].item.item_no, name.removesuffix("_id")


def rebuild() -> int:
    """Fold every item again and store what differs; returns how many items there are.

    `entry_count` and `head_hash` are left alone: they witness what was once recorded.
    """
    total = 0
    for batch in batches(Item.objects.order_by("pk").values_list("pk", flat=True)):
        with transaction.atomic():
            join_writers()
            found = ItemState.objects.select_for_update().filter(pk__in=batch).order_by("pk")
            states = {state.pk: state for state in found}
            refresh(states)
        total += len(states)
    return total
