"""Reads that others may use: the answer about an item, now or as of a moment, and the whole book."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby

from django.utils import timezone

from gear.ledger import chain_problem, line_of, rules_on, site_zone
from gear.ledger.chain import subject_name
from gear.models import Entry, GearSet, Item, ItemState, Label, Membership, User
from gear.rules import codes, fold, moments, readiness
from gear.rules.readiness import Answer, Reason, Rules, SetFacts

CLOCK_TOLERANCE = timedelta(minutes=5)


@dataclass(frozen=True)
class Question:
    """What is asked: the day, the moment up to which events count, and what was known by when.

    Made by `question`; `known_at` is None for "everything recorded so far".
    """

    as_of: date
    as_of_at: datetime
    known_at: datetime | None
    asked_at: datetime

    @property
    def current(self) -> bool:
        """Whether every entry on record counts."""
        return self.known_at is None and self.as_of_at >= moments.end_of_day(
            moments.local_day(self.asked_at, site_zone()), site_zone()
        )


def question(as_of: date | datetime | None = None, *, known_at: datetime | None = None) -> Question:
    """The question for a day (its end counts), an aware moment, or now when `as_of` is None.

    The only place, with the views and commands, where the clock is read.
    """
    now, zone = timezone.now(), site_zone()
    if isinstance(as_of, datetime):
        return Question(moments.local_day(as_of, zone), as_of, known_at, now)
    day = as_of or moments.local_day(now, zone)
    return Question(day, moments.end_of_day(day, zone), known_at, now)


def answer(
    item_no: str, asked: Question, *, asked_by: str | None = None, trouble: Sequence[Reason] = ()
) -> Answer:
    """The answer about one item by its number, folded from its entries with the hash chain checked.

    An item that is not in the book, or was not known of then, is `unknown`.
    """
    return answers([item_no], asked, asked_by=asked_by, trouble=trouble)[0]


def answers(
    item_nos: Sequence[str], asked: Question, *, asked_by: str | None = None, trouble: Sequence[Reason] = ()
) -> list[Answer]:
    """Answers in the order asked, with a constant number of queries."""
    rules = rules_on(asked.as_of, known_at=asked.known_at)
    trouble = [*trouble, *clock_trouble(asked)]
    read = _Reading(asked)
    items = read.by_number(item_nos)
    found = read.facts_with_mates([item.pk for item in items.values()])
    result = []
    for item_no in item_nos:
        item = items.get(item_no)
        if item is None or not found[item.pk].identity:
            result.append(readiness.refused(item_no, "NOT_IN_BOOK", as_of=asked.as_of, rules=rules))
        else:
            result.append(read.decide(item.pk, rules, asked_by=asked_by, trouble=trouble))
    return result


def rules_today() -> Rules:
    """The rule pack and site policy in force today."""
    return rules_on(question().as_of)


def clock_trouble(asked: Question) -> list[Reason]:
    """A server clock that lies behind what is already recorded cannot date anything."""
    newest = Entry.objects.order_by("-recorded_at").values_list("recorded_at", flat=True).first()
    if newest and asked.asked_at < newest - CLOCK_TOLERANCE:
        return [Reason("CLOCK_BEHIND", "internal control", {"newest": newest.isoformat(timespec="seconds")})]
    return []


class _Reading:
    """Entries of some items and of the members of their sets, read in a constant number of queries."""

    def __init__(self, asked: Question):
        self.asked = asked
        self.broken: dict[int, str] = {}
        self.facts: dict[int, fold.ItemFacts] = {}
        self.sets: dict[str, SetFacts] = {}
        self.members: dict[str, list[int]] = {}
        self.usernames = dict(User.objects.values_list("pk", "username"))

    def by_number(self, item_nos: Iterable[str]) -> dict[str, Item]:
        found = {}
        for batch in _batches(list(item_nos)):
            found |= {item.item_no: item for item in Item.objects.filter(item_no__in=batch)}
        return found

    def facts_with_mates(self, pks: Sequence[int]) -> dict[int, fold.ItemFacts]:
        """Facts of the items and of everything that was ever in a set with them."""
        wanted = set(pks)
        for batch in _batches(sorted(wanted)):
            sets = Membership.objects.filter(item_id__in=batch).values("gear_set_id")
            wanted |= set(Membership.objects.filter(gear_set__in=sets).values_list("item_id", flat=True))
        for batch in _batches(sorted(wanted)):
            self._read(batch)
        for pk, facts in self.facts.items():
            if facts.set_no:
                self.members.setdefault(facts.set_no, []).append(pk)
        self._read_sets()
        return self.facts

    def mates_of(self, pk: int) -> list[int]:
        return [other for other in self.members.get(self.facts[pk].set_no or "", []) if other != pk]

    def decide(
        self, pk: int, rules: Rules, *, asked_by: str | None = None, trouble: Sequence[Reason] = ()
    ) -> Answer:
        facts, mates = self.facts[pk], self.mates_of(pk)
        broken = [
            Reason("CHAIN_BROKEN", "internal control", {"item": self.facts[one].item_no, "why": why})
            for one in (pk, *mates)
            if (why := self.broken.get(one))
        ]
        return readiness.decide(
            facts,
            rules,
            as_of=self.asked.as_of,
            mates=[self.facts[mate] for mate in mates],
            gear_set=self.sets.get(facts.set_no or ""),
            asked_by=asked_by,
            trouble=[*trouble, *broken],
        )

    def _read(self, pks: list[int]) -> None:
        heads = {
            state.pk: state for state in ItemState.objects.filter(pk__in=pks).only("entry_count", "head_hash")
        }
        items = {item.pk: item for item in Item.objects.filter(pk__in=pks)}
        found = Entry.objects.filter(item_id__in=pks).order_by("item_id", "position")
        chains = {pk: list(chain) for pk, chain in groupby(found, key=lambda entry: entry.item_id)}
        for pk, item in items.items():
            chain, head = chains.get(pk, []), heads.get(pk)
            why = (
                "its state is missing"
                if head is None
                else chain_problem(
                    chain,
                    subject=subject_name(item),
                    usernames=self.usernames,
                    count=head.entry_count,
                    head_hash=head.head_hash,
                )
            )
            if why:
                self.broken[pk] = why
            self.facts[pk] = fold.fold(
                item.item_no,
                map(line_of, chain),
                as_of_at=self.as_of_at,
                known_at=self.asked.known_at or moments.FOR_EVER,
            )

    @property
    def as_of_at(self) -> datetime:
        return moments.FOR_EVER if self.asked.current else self.asked.as_of_at

    def _read_sets(self) -> None:
        for batch in _batches(sorted(self.members)):
            self.sets |= {
                row.set_no: SetFacts(row.set_no, row.kind, row.required)
                for row in GearSet.objects.filter(set_no__in=batch)
            }


def _batches(values: list, size: int = 400) -> Iterator[list]:
    for start in range(0, len(values), size):
        yield values[start : start + size]


def fleet(asked: Question) -> Iterator[tuple[Answer, fold.ItemFacts]]:
    """The answer about every item in the book as of the question, in order of item number.

    Now: from the states, in a constant number of queries. In the past: from the entries.
    """
    if not asked.current:
        yield from _fleet_from_entries(asked)
        return
    rules, trouble = rules_on(asked.as_of), clock_trouble(asked)
    read = {}
    members: dict[str, list[str]] = {}
    for item_no, stored, chain_ok in (
        ItemState.objects.order_by("item__item_no")
        .values_list("item__item_no", "facts", "chain_ok")
        .iterator(chunk_size=2000)
    ):
        facts = _stored_facts(item_no, stored)
        read[item_no] = (facts, chain_ok)
        if facts.set_no:
            members.setdefault(facts.set_no, []).append(item_no)
    sets = {row.set_no: SetFacts(row.set_no, row.kind, row.required) for row in GearSet.objects.all()}
    for item_no, (facts, chain_ok) in read.items():
        mates = [other for other in members.get(facts.set_no or "", []) if other != item_no]
        broken = (
            []
            if chain_ok and all(read[mate][1] for mate in mates)
            else [
                Reason("CHAIN_BROKEN", "internal control", {"item": item_no, "why": "found by verify_ledger"})
            ]
        )
        yield (
            readiness.decide(
                facts,
                rules,
                as_of=asked.as_of,
                mates=[read[mate][0] for mate in mates],
                gear_set=sets.get(facts.set_no or ""),
                trouble=[*trouble, *broken],
            ),
            facts,
        )


def _stored_facts(item_no: str, stored: dict) -> fold.ItemFacts:
    """The facts of a state; a state that cannot be read says so, and the answer is `unknown`."""
    try:
        return fold.from_json(stored)
    except (KeyError, TypeError, ValueError):
        return fold.ItemFacts(item_no, unreadable=["state"])


def _fleet_from_entries(asked: Question) -> Iterator[tuple[Answer, fold.ItemFacts]]:
    numbers = list(Item.objects.order_by("item_no").values_list("item_no", "pk"))
    rules, trouble = rules_on(asked.as_of, known_at=asked.known_at), clock_trouble(asked)
    read = _Reading(asked)
    found = read.facts_with_mates([pk for _number, pk in numbers])
    for _number, pk in numbers:
        facts = found[pk]
        if not facts.identity or facts.holder is None:
            continue  # not in the book then
        yield read.decide(pk, rules, trouble=trouble), facts


@dataclass(frozen=True)
class Scanned:
    """What a typed or scanned code led to: the answer, the item when there is one, the code as understood."""

    answer: Answer
    item: Item | None
    code: str


def scanned(text: str, asked: Question, *, base_url: str, asked_by: str | None = None) -> Scanned:
    """The answer for a label code as typed or scanned. Never raises; what is not found is never good."""
    read = codes.normalise(text, base_url=base_url)
    rules = rules_on(asked.as_of)
    if read.code is None:
        return Scanned(
            readiness.refused("", "LABEL_UNREADABLE", as_of=asked.as_of, rules=rules, problem=read.problem),
            None,
            "",
        )
    label = Label.objects.select_related("item").filter(code=read.code).first()
    if label is None:
        return Scanned(
            readiness.refused("", "NOT_IN_BOOK", as_of=asked.as_of, rules=rules, label=read.code),
            None,
            read.code,
        )
    state = ItemState.objects.filter(item=label.item).only("label").first()
    old = (
        []
        if state and state.label == read.code
        else [
            Reason(
                "LABEL_REPLACED",
                rules.pack.block_source("LABEL_REPLACED") if rules.pack else "internal control",
                {"code": read.code},
            )
        ]
    )
    return Scanned(answer(label.item.item_no, asked, asked_by=asked_by, trouble=old), label.item, read.code)
