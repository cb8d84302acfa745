"""What a truck, a crew, a person or a shelf has: the load list, piece by piece, with what was said when it came."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from gear.models import Entry, Holder, Item
from gear.queries.fleet import judged
from gear.queries.questions import Question
from gear.rules.fold import ItemFacts
from gear.rules.readiness import Answer


@dataclass(frozen=True)
class Loaded:
    """One piece where it is: its answer, and the note of the move that brought it, empty where there was none."""

    answer: Answer
    facts: ItemFacts
    note: str = ""


def load_of(holder: Holder, asked: Question, *, only: Collection[str] = ()) -> list[Loaded]:
    """Everything that is recorded with a holder, by kind and number, in a constant number of queries.

    With `only`, these pieces and the others of their sets that are there as well.
    """
    items = Item.objects.filter(state__holder=holder)
    if only:
        named = items.filter(item_no__in=only)
        joined = named.filter(state__gear_set__isnull=False).values("state__gear_set")
        items = items.filter(pk__in=named.values("pk")) | items.filter(state__gear_set__in=joined)
    notes = _notes(items.values("pk"))
    told = judged(items.order_by("item_type__kind", "item_no", "pk"), asked)
    return [Loaded(answer, facts, notes.get(facts.item_no, "")) for answer, facts in told]


def _notes(items: object) -> dict[str, str]:
    """The note of the newest entry that put each item where it is."""
    found: dict[str, str] = {}
    moves = Entry.objects.filter(item__in=items, kind__in=("issued", "moved", "returned"))
    for item_no, facts in moves.order_by("occurred_at", "position").values_list("item__item_no", "facts"):
        found[item_no] = str(facts.get("note") or "")
    return found
