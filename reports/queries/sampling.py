"""What an audit sample is drawn from, as the record stood at a moment, and the drawn pieces as they should be found."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils import timezone

from gear import queries
from gear.models import Depot, Entry, Item
from gear.queries import Question
from gear.queries.questions import question
from gear.rules import moments
from gear.rules.fold import ItemFacts
from gear.rules.readiness import Answer
from reports.rules.sampling import Drawn, Member

STRATA = ("", "depot", "truck", "kind")
AT_ONCE = 400  # numbers asked about in one statement


@dataclass(frozen=True)
class Population:
    """The pieces that can be drawn, by number, with what the record says of each.

    `at` is the moment that it is worked out for. `conditions` counts them by condition, lost ones among them;
    `destroyed` and `visitors` are how many pieces are left out.
    """

    at: datetime
    facts: Mapping[str, ItemFacts]
    conditions: Mapping[str, int]
    destroyed: int
    visitors: int

    @property
    def count(self) -> int:
        return len(self.facts)

    def members(self, strata: str) -> list[Member]:
        """All of them, each in the stratum that `strata` (one of STRATA) names."""
        return [Member(item_no, stratum_of(facts, strata)) for item_no, facts in self.facts.items()]


def population(at: datetime, *, depot: str = "", kind: str = "") -> Population:
    """Every piece of ours that was in the book at a moment and not destroyed, narrowed to a depot or a kind.

    As known then, so that the same moment gives the same pieces for ever. The depot of a piece is the one that its
    last move names, for the same reason.
    """
    facts, conditions = {}, Counter[str]()
    destroyed = visitors = 0
    for _answer, one in queries.fleet(asked_at(at)):
        if kind and one.kind != kind or depot and (one.holder or {}).get("depot") != depot:
            continue
        if one.owner:
            visitors += 1
        elif one.destroyed:
            destroyed += 1
        else:
            facts[one.item_no] = one
            conditions["unknown" if one.unreadable else one.condition] += 1
    return Population(at, facts, conditions, destroyed, visitors)


def asked_at(at: datetime) -> Question:
    """The question for a moment as known then.

    Where nothing was recorded since, what is known now is the same, and is read much faster.
    """
    day = moments.local_day(at, timezone.get_default_timezone())
    if day == question().as_of and not Entry.objects.filter(recorded_at__gt=at).exists():
        return question()
    return question(day, known_at=at)


def stratum_of(facts: ItemFacts, strata: str) -> str:
    """The stratum of a piece by what the record says of it, empty where it says nothing or all are drawn together."""
    holder: Mapping[str, Any] = facts.holder or {}
    if strata == "depot":
        return holder.get("depot") or ""
    if strata == "truck":
        return holder["name"] if holder.get("kind") == "truck" else ""
    return (facts.kind or "") if strata == "kind" else ""


@dataclass(frozen=True)
class Expected:
    """A drawn piece as it should be found: who or what has it, what is marked on it, and its last good day."""

    item_no: str
    stratum: str
    identity: Mapping[str, Any]
    holder: Mapping[str, Any]
    condition: str
    label: str
    verdict: str
    good_through: date | None


def expected(drawn: Drawn, found: Population) -> list[Expected]:
    """The drawn pieces in their order. The number of queries does not grow with them but by the hundreds."""
    numbers = [one.item_no for one in drawn.pieces]
    answers: dict[str, Answer] = {one.item_no: one for one in queries.answers(numbers, asked_at(found.at))}
    return [
        Expected(
            one.item_no,
            one.stratum,
            facts.identity,
            facts.holder or {},
            "unknown" if facts.unreadable else facts.condition,
            facts.label or "",
            answers[one.item_no].verdict,
            answers[one.item_no].good_through,
        )
        for one in drawn.pieces
        for facts in [found.facts[one.item_no]]
    ]


def choices() -> tuple[list[str], list[str]]:
    """(names of depots, kinds in the book) to narrow a draw to."""
    depots = list(Depot.objects.order_by("name").values_list("name", flat=True))
    kinds = list(
        Item.objects.order_by("item_type__kind").values_list("item_type__kind", flat=True).distinct()
    )
    return depots, kinds
