"""What may stand in for a piece: units that lie on a shelf, in a crew cage or on a truck and are good today.

Only what the stored columns call in date is judged at all. That may miss a unit, never offer a wrong one: each of its
pieces has the answer of the one decision.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Q, QuerySet

from gear.models import GearSet, Item, ItemState, ItemType
from gear.queries.entry_words import holder_word
from gear.queries.fleet import fleet_under, rules_for
from gear.queries.questions import Question
from gear.rules import fold, replacing
from gear.rules.entries import UNREADABLE
from gear.rules.fold import ItemFacts
from gear.rules.pairs import Pair
from gear.rules.readiness import Answer, Rules
from gear.rules.replacing import LYING

BATCH = 400
JUDGED = 600  # pieces that are judged for one question, the first to expire first
Told = tuple[Answer, ItemFacts]


@dataclass(frozen=True)
class Offer:
    """One unit that may stand in: its name, its pieces, where it lies in words, and how near that is (0, 1, 2).

    `lies` is the kind of holder that has it.
    """

    name: str
    numbers: tuple[str, ...]
    place: str
    near: int
    good_through: str | None
    lies: str = ""

    @property
    def ready(self) -> bool:
        """Whether it may be taken without asking another crew: from a shelf, or from what the same crew has."""
        return self.lies == "shelf" or self.near == 0

    def as_json(self) -> dict[str, Any]:
        """As it stands in a bundle and in an answer to a phone; the day is ISO."""
        return {
            "name": self.name,
            "numbers": list(self.numbers),
            "place": self.place,
            "near": self.near,
            "good_through": self.good_through,
        }


def replacements_for(item: Item, asked: Question, *, here: Mapping[str, Any] | None = None) -> list[Offer]:
    """What may stand in for a piece and the set it belongs to, the nearest first; at most MOST.

    Near is counted from `here`, a holder as a fact, or else from the holder of the piece. A fixed number of queries.
    """
    gear_set = item.state.gear_set
    alone = gear_set is None or gear_set.kind == "kit"
    rules = rules_for(asked)
    told = _judged(Item.objects.filter(pk=item.pk), asked)
    wanted = _unit([one for one in told if not alone or one[1].item_no == item.item_no], asked)
    lying = offers_like([item.item_type], asked, rules)
    near = here or wanted_place(wanted, item.item_no)
    return told_as_offers(replacing.nearest(wanted, lying, here=near, pack=rules.pack), here=near)


def spares_of(
    item_nos: Sequence[str], asked: Question, *, most: int = replacing.MOST
) -> dict[str, list[Offer]]:
    """What may stand in for each of these pieces that somebody could have in use, at most so many; under its number.

    As `replacements_for` names it, for a whole bundle: a number of queries that grows with no row but with batches.
    """
    used: list[ItemFacts] = []
    types: dict[int, ItemType] = {}
    for start in range(0, len(item_nos), BATCH):
        states = ItemState.objects.filter(item__item_no__in=item_nos[start : start + BATCH], usable_now=True)
        for state in states.select_related("item__item_type").order_by("item__item_no"):
            if (facts := _facts_of(state)) is not None:
                used.append(facts)
                types[state.item.item_type_id] = state.item.item_type
    rules = rules_for(asked)
    lying: dict[tuple, list[Pair]] = {}
    for unit in offers_like(types.values(), asked, rules):
        lying.setdefault(_shelf(unit), []).append(unit)
    found = {}
    for unit in _wanted(used, asked):
        for one in unit.pieces:
            near = one.holder or {}
            offers = replacing.nearest(
                unit, lying.get(_shelf(unit), ()), here=near, pack=rules.pack, most=most
            )
            found[one.item_no] = told_as_offers(offers, here=near)
    return found


def _facts_of(state: ItemState) -> ItemFacts | None:
    try:
        return fold.from_json(state.facts)
    except UNREADABLE:
        return None  # it has its own answer, and nothing can be said to equal it


def _wanted(used: list[ItemFacts], asked: Question) -> list[Pair]:
    sets: dict[str, list[ItemFacts]] = {}
    for facts in used:
        sets.setdefault(facts.set_no or f"item:{facts.item_no}", []).append(facts)
    return [Pair(tuple(pieces), (), asked.as_of) for pieces in sets.values()]


def _shelf(unit: Pair) -> tuple:
    """Units under one key may stand in for one another; the rules say which do."""
    kind = unit.identity.get("kind")
    return (kind,) if kind == "grounding_jumper" else replacing.likeness(unit.identity)


def wanted_place(wanted: Pair, item_no: str) -> Mapping[str, Any]:
    """The holder of one piece of a unit."""
    return next((one.holder or {} for one in wanted.pieces if one.item_no == item_no), {})


def offers_like(types: Iterable[ItemType], asked: Question, rules: Rules) -> list[Pair]:
    """The units that lie somewhere, are good today and once taken, and may be like one of these types; in no order."""
    like = Q(pk__in=[])
    for found in {_like(one) for one in types}:
        like |= Q(**dict(found))
    items = Item.objects.filter(
        like,
        state__holder__kind__in=LYING,
        state__condition="ok",
        state__good_through__gte=asked.as_of,
    )
    first = items.order_by("state__good_through", "item_no").values_list("pk", flat=True)[:JUDGED]
    good = [one for one in _units(_judged(Item.objects.filter(pk__in=list(first)), asked), asked) if one.good]
    return [one for unit in good if (one := replacing.once_issued(unit, rules))]


def _like(found: ItemType) -> tuple[tuple[str, Any], ...]:
    """Conditions on item types that may stand in for one; the rules judge again."""
    names = ("kind",) if found.kind == "grounding_jumper" else ("kind", "cls", "type", "size", "length_mm")
    stated = {f"item_type__{name}": getattr(found, name) for name in names}
    return tuple(
        (f"{name}__isnull", True) if value is None else (name, value) for name, value in stated.items()
    )


def told_as_offers(units: Iterable[Pair], *, here: Mapping[str, Any]) -> list[Offer]:
    return [
        Offer(
            one.name,
            tuple(_numbers(one)),
            holder_word(one.holder),
            replacing.nearness(one.holder, here),
            last.isoformat() if (last := one.gives or one.good_through) else None,
            str(one.holder.get("kind") or ""),
        )
        for one in units
    ]


def _judged(items: QuerySet[Item], asked: Question) -> list[Told]:
    """The items and all other pieces of their sets, each with its answer."""
    return [(answers[0], facts) for answers, facts in fleet_under(asked, [rules_for(asked)], items=items)]


def _units(told: list[Told], asked: Question) -> list[Pair]:
    """Pieces under their sets. What belongs to a kit is no unit: taking it would break the kit."""
    groups: dict[str, list[Told]] = {}
    for answer, facts in told:
        groups.setdefault(facts.set_no or f"item:{facts.item_no}", []).append((answer, facts))
    kits = set(GearSet.objects.filter(set_no__in=groups, kind="kit").values_list("set_no", flat=True))
    return [_unit(pieces, asked) for name, pieces in groups.items() if name not in kits]


def _unit(told: list[Told], asked: Question) -> Pair:
    ordered = sorted(told, key=lambda one: (str(one[1].identity.get("hand")), one[1].item_no))
    return Pair(
        tuple(facts for _answer, facts in ordered), tuple(answer for answer, _facts in ordered), asked.as_of
    )


def _numbers(unit: Pair) -> list[str]:
    return [one.item_no for one in unit.pieces]
