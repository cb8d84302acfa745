"""ItemState: the folded facts of every item as known now. A cache; the entries are the truth."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import groupby

from django.db import transaction
from django.utils import timezone

from gear.ledger.chain import line_of, site_zone
from gear.ledger.rulebook import rules_on
from gear.ledger.writers import join_writers
from gear.models import Entry, GearSet, Holder, Item, ItemState
from gear.rules import fold, readiness
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
        self.rules = rules_on(local_day(timezone.now(), site_zone()))
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
                    **self._columns(facts),
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

    def _columns(self, facts: fold.ItemFacts) -> dict:
        running = readiness.running_clocks(facts, self.rules)
        holder = (facts.holder["kind"], facts.holder["name"]) if facts.holder else None
        return {
            "holder_id": self.holders.get(holder),
            "gear_set_id": self.sets.get(facts.set_no),
            "condition": facts.condition,
            "usable_now": facts.usable,
            "label": facts.label or "",
            "good_through": running[0].good_through if running else None,
            "winning_clock": running[0].name if running else "",
            "last_test_on": facts.last_test_on,
            "first_issued_on": facts.first_issued_on,
            "facts": fold.to_json(facts),
        }


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
