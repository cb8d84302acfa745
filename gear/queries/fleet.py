"""The answer about every item in the book, for lists and reports."""

from __future__ import annotations

import logging
from collections.abc import Iterator, Sequence

from django.db.models import Q, QuerySet

from gear.ledger import rules_on
from gear.models import GearSet, Holder, Item
from gear.queries.answers import Reading
from gear.queries.questions import Question, service_trouble
from gear.rules import fold, readiness
from gear.rules.readiness import Answer, Reason, Rules, SetFacts

log = logging.getLogger(__name__)


def rules_for(asked: Question) -> Rules:
    """The rule pack and site policy that count for a question."""
    return rules_on(asked.as_of, known_at=asked.known_at)


def fleet(asked: Question) -> Iterator[tuple[Answer, fold.ItemFacts]]:
    """The answer about every item in the book as of the question, in order of item number.

    Now: from the states, in a constant number of queries. In the past: from the entries. An item whose record
    cannot be read is `unknown` and hides no other; one that was not in the book then is left out.
    """
    yield from _from_states(asked) if asked.current else _from_entries(asked)


def judged(items: QuerySet[Item], asked: Question) -> Iterator[tuple[Answer, fold.ItemFacts]]:
    """The answer about some items as of now, from the states, in their order and a constant number of queries.

    Their mates are read with them, since an item is no better than its set.
    """
    numbers = list(items.values_list("item_no", flat=True))
    told = {
        facts.item_no: (answers[0], facts)
        for answers, facts in fleet_under(asked, [rules_for(asked)], items=items)
    }
    yield from (told[item_no] for item_no in numbers if item_no in told)


class States:
    """The stored facts of every item, or of some and their mates, and what is wrong with them."""

    def __init__(self) -> None:
        self.facts: dict[str, fold.ItemFacts] = {}
        self.broken: dict[str, str] = {}
        self.members: dict[str, list[str]] = {}
        self.sets: dict[str, SetFacts] = {}

    def read(self, items: QuerySet[Item] | None = None) -> None:
        """From the items, so that one without a state is not passed over."""
        unread: dict[str, int | None] = {}
        wanted, sets = Item.objects.all(), GearSet.objects.all()
        if items is not None:
            joined = items.values("state__gear_set")
            wanted = wanted.filter(Q(pk__in=items.values("pk")) | Q(state__gear_set__in=joined))
            sets = sets.filter(pk__in=joined)
        found = wanted.order_by("item_no").values_list(
            "item_no", "state__facts", "state__chain_ok", "state__holder_id"
        )
        for item_no, stored, chain_ok, holder in found.iterator(chunk_size=2000):
            if chain_ok is not True:
                self.broken[item_no] = (
                    "its state is missing" if chain_ok is None else "found by verify_ledger"
                )
            facts = self.facts[item_no] = _stored_facts(item_no, stored)
            if facts.unreadable == ["state"]:
                unread[item_no] = holder
            if facts.set_no:
                self.members.setdefault(facts.set_no, []).append(item_no)
        self._place(unread)
        for row in sets:
            self.sets[row.set_no] = SetFacts(row.set_no, row.kind, row.required)
            if not row.chain_ok:
                why = f"set {row.set_no}: found by verify_ledger"
                self.broken = dict.fromkeys(self.members.get(row.set_no, ()), why) | self.broken

    def _place(self, unread: dict[str, int | None]) -> None:
        """Where the items are whose facts cannot be read: that is still known from the column beside them."""
        wanted = sorted({holder for holder in unread.values() if holder is not None})
        holders = Holder.objects.select_related("crew", "depot").in_bulk(wanted) if wanted else {}
        for item_no, holder in unread.items():
            if holder in holders:
                self.facts[item_no].holder = holders[holder].as_fact()

    def mates_of(self, facts: fold.ItemFacts) -> list[str]:
        return [other for other in self.members.get(facts.set_no or "", []) if other != facts.item_no]

    def answer(
        self, facts: fold.ItemFacts, asked: Question, rules: Rules, trouble: Sequence[Reason]
    ) -> Answer:
        """The decision; facts that can be read but make no sense give `unknown` for their item and hide no other."""
        try:
            return self.decide(facts, asked, rules, trouble)
        except Exception:
            log.exception("No answer could be decided for %s", facts.item_no)
            return readiness.refused(facts.item_no, "RECORD_UNREADABLE", as_of=asked.as_of, rules=rules)

    def decide(
        self, facts: fold.ItemFacts, asked: Question, rules: Rules, trouble: Sequence[Reason]
    ) -> Answer:
        mates = self.mates_of(facts)
        broken = [
            Reason("CHAIN_BROKEN", "internal control", {"item": one, "why": self.broken[one]})
            for one in (facts.item_no, *mates)
            if one in self.broken
        ]
        return readiness.decide(
            facts,
            rules,
            as_of=asked.as_of,
            mates=[self.facts[mate] for mate in mates],
            gear_set=self.sets.get(facts.set_no or ""),
            trouble=[*trouble, *broken],
        )


def fleet_under(
    asked: Question, choices: Sequence[Rules], *, items: QuerySet[Item] | None = None
) -> Iterator[tuple[list[Answer], fold.ItemFacts]]:
    """The answers about every item in the book, on a day from today on, under each choice of rules in turn.

    Where `items` are named: about these and their mates.
    """
    trouble = service_trouble(asked)
    states = States()
    states.read(items)
    for facts in states.facts.values():
        found = []
        for rules in choices:
            found.append(states.answer(facts, asked, rules, trouble))
        yield found, facts


def _from_states(asked: Question) -> Iterator[tuple[Answer, fold.ItemFacts]]:
    for answers, facts in fleet_under(asked, [rules_for(asked)]):
        yield answers[0], facts


def _stored_facts(item_no: str, stored: dict | None) -> fold.ItemFacts:
    """The facts of a state; a state that is missing or cannot be read says so, and the answer is `unknown`."""
    try:
        facts = fold.from_json(stored or {})
    except (KeyError, TypeError, ValueError, AttributeError):
        return fold.ItemFacts(item_no, unreadable=["state"])
    return facts if facts.item_no == item_no else fold.ItemFacts(item_no, unreadable=["state"])


def _from_entries(asked: Question) -> Iterator[tuple[Answer, fold.ItemFacts]]:
    yield from (told for (told,) in fleets_then([asked]) if told is not None)


Told = tuple[Answer, fold.ItemFacts]


def fleets_then(questions: Sequence[Question]) -> Iterator[tuple[Told | None, ...]]:
    """Every item of the book under each of the questions, from one reading of its entries, in order of item number.

    None where it was not in the book then. Memory is needed for the facts of all items, not for their entries.
    """
    items = list(Item.objects.order_by("item_no"))
    others = [Reading(asked) for asked in questions[1:]]
    readings = [Reading(questions[0], also=others), *others]
    rules = [rules_for(asked) for asked in questions]
    trouble = [service_trouble(asked) for asked in questions]
    readings[0].facts_with_mates([item.pk for item in items])
    for item in items:
        yield tuple(_told(item.pk, *each) for each in zip(readings, rules, trouble, strict=True))


def _told(pk: int, read: Reading, rules: Rules, trouble: Sequence[Reason]) -> Told | None:
    facts = read.facts[pk]
    faulty = facts.unreadable or pk in read.broken
    if facts.holder is None and facts.away is None and not faulty:
        return None  # not in the book then
    return read.answer(pk, rules, trouble=trouble), facts
