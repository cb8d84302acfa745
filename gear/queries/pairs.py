"""Pairs of gloves and sleeves as they are now: on shelves, in somebody's hands, and the single pieces."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from django.db.models import Q, QuerySet

from gear.models import Holder, Item, ItemState
from gear.queries.fleet import fleet_under, rules_for
from gear.queries.questions import Question
from gear.rules import pairs
from gear.rules.fold import ItemFacts
from gear.rules.pairs import Pair
from gear.rules.readiness import HANDED, Answer, Rules

Told = tuple[Answer, ItemFacts]


@dataclass(frozen=True)
class Wanted:
    """What somebody at the counter needs; empty or None is "whatever it is". `length_mm` is (shortest, longest)."""

    kind: str = "glove"
    cls: str = ""
    size: str = ""
    length_mm: tuple[int, int] | None = None
    type: str = ""
    colour: str = ""

    def fits(self) -> Q:
        fits = Q(item_type__kind=self.kind)
        for name in ("cls", "size", "type", "colour"):
            if stated := getattr(self, name):
                fits &= Q(**{f"item_type__{name}__iexact": stated})
        return fits & Q(item_type__length_mm__range=self.length_mm) if self.length_mm else fits


def on_shelves(asked: Question, wanted: Wanted | None = None) -> list[Pair]:
    """Every complete good pair that lies on a shelf, in no order, with what it gives once issued today."""
    fits = wanted.fits() if wanted else Q(item_type__kind__in=HANDED)
    items = Item.objects.filter(fits, state__holder__kind="shelf", state__gear_set__isnull=False)
    return [one for one in _gathered(items, asked) if pairs.can_be_offered(one)]


def pair_with(item: Item, asked: Question) -> Pair:
    """The pair that a piece belongs to, all pieces of it; the piece alone where it belongs to none."""
    gear_set = ItemState.objects.filter(item=item).values("gear_set")
    items = Item.objects.filter(Q(pk=item.pk) | Q(state__gear_set__in=gear_set))
    return next(one for one in _gathered(items, asked) if item.item_no in _numbers(one.pieces))


def held_by(holder: Holder, asked: Question) -> list[Pair]:
    """The pairs that one person has; of a pair that is not together, the pieces that this person has."""
    return in_hands(Holder.objects.filter(pk=holder.pk), asked)


def in_hands(holders: QuerySet[Holder], asked: Question) -> list[Pair]:
    """The pairs in the hands of these holders, each with the pieces that one of them has, in order of item number."""
    items = Item.objects.filter(item_type__kind__in=HANDED, state__holder__in=holders)
    mine = set(items.values_list("item_no", flat=True))
    rules = rules_for(asked)
    members: dict[str, int] = {}
    held: dict[tuple[str, str], list[Told]] = {}
    for answer, facts in _told(items, asked, rules):
        key = facts.set_no or f"item:{facts.item_no}"
        members[key] = members.get(key, 0) + 1
        if facts.item_no in mine and facts.holder:
            held.setdefault((key, facts.holder["name"]), []).append((answer, facts))
    return [
        pairs.pair_of(told, rules=rules, as_of=asked.as_of, whole=len(told) == members[key])
        for (key, _holder), told in held.items()
    ]


@dataclass(frozen=True)
class Odd:
    """A single piece: its own answer, where it is, and whether it may be proposed for a new pair."""

    answer: Answer
    facts: ItemFacts
    mates: tuple[ItemFacts, ...]
    single: pairs.Single | None


def odd_pieces(asked: Question) -> list[Odd]:
    """Gloves and sleeves without a mate that could be one again, by group and then by item number.

    One that has nothing else against it and is in nobody's hands may be proposed for a new pair.
    """
    items, rules = Item.objects.filter(item_type__kind__in=HANDED), rules_for(asked)
    told = list(_told(items, asked, rules))
    members: dict[str, list[ItemFacts]] = {}
    for _answer, facts in told:
        if facts.set_no:
            members.setdefault(facts.set_no, []).append(facts)
    found = []
    for answer, facts in told:
        mates = tuple(one for one in members.get(facts.set_no or "", ()) if one is not facts)
        if pairs.is_odd(facts, mates) and not facts.owner:
            found.append(Odd(answer, facts, mates, _single(answer, facts, rules, asked)))
    return sorted(found, key=lambda one: (pairs.group_of(one.facts.identity), one.facts.item_no))


def _single(answer: Answer, facts: ItemFacts, rules: Rules, asked: Question) -> pairs.Single | None:
    """What a piece would give as one hand of a pair: judged beside a mirror of itself, which has nothing against it."""
    hand = facts.identity.get("hand")
    if (
        facts.owner
        or facts.usable
        or hand not in ("L", "R")
        or {one.code for one in answer.reasons} - {"SET_NOT_COMPLETE"}
    ):
        return None
    gives = pairs.gives_once_issued((facts, pairs.mirrored(facts)), rules, on=asked.as_of)
    return pairs.Single(facts.item_no, hand, gives, pairs.group_of(facts.identity)) if gives else None


def _gathered(items: QuerySet[Item], asked: Question) -> list[Pair]:
    rules = rules_for(asked)
    return pairs.gathered(_told(items, asked, rules), rules=rules, as_of=asked.as_of)


def _told(items: QuerySet[Item], asked: Question, rules: Rules) -> Iterator[Told]:
    """The items and all other pieces of their sets, each with its answer."""
    for answers, facts in fleet_under(asked, [rules], items=items):
        yield answers[0], facts


def _numbers(pieces: Iterable[ItemFacts]) -> set[str]:
    return {one.item_no for one in pieces}
