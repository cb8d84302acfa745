"""The answer about an item, now or as of a moment, and about the whole book."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from gear.ledger import line_of, reading, rules_on
from gear.models import Entry, GearSet, Item, ItemState, Label, Membership, User
from gear.queries.questions import Question, service_trouble
from gear.queries.ratings import Rating, rating_of
from gear.rules import codes, fold, moments, readiness
from gear.rules.readiness import Answer, Reason, Rules, SetFacts

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Seen:
    """An item as looked at: the answer, the facts it rests on, the mates of its set, and its rating.

    `item` and `facts` are None where nothing is in the book under that number, and nothing else is known then.
    """

    answer: Answer
    item: Item | None = None
    facts: fold.ItemFacts | None = None
    mates: tuple[tuple[Answer, fold.ItemFacts], ...] = ()
    rating: Rating | None = None
    gear_set: SetFacts | None = None

    @property
    def reliable(self) -> bool:
        """Whether dates and ratings may be shown: not where the record itself cannot be relied upon."""
        return not any(reason.code in readiness.OVERRIDING for reason in self.answer.reasons)


def answer(
    item_no: str, asked: Question, *, asked_by: str | None = None, trouble: Sequence[Reason] = ()
) -> Answer:
    """The answer about one item by its number, folded from its entries with the hash chain checked.

    An item that is not in the book, or was not known of then, is `unknown`.
    """
    return answers([item_no], asked, asked_by=asked_by, trouble=trouble)[0]


def seen(item_no: str, asked: Question, *, asked_by: str | None = None) -> Seen:
    """One item with what its answer rests on and the answers of its mates."""
    return _seen(item_no, asked, asked_by=asked_by)


def seen_many(item_nos: Sequence[str], asked: Question) -> list[Seen]:
    """Several items in the order asked, as `seen` gives one, with a constant number of queries."""
    rules, trouble = rules_on(asked.as_of, known_at=asked.known_at), service_trouble(asked)
    read = Reading(asked)
    items = read.by_number(item_nos)
    read.facts_with_mates([item.pk for item in items.values()])
    return [_seen_by(read, item_no, items.get(item_no), rules, trouble) for item_no in item_nos]


def _seen(
    item_no: str, asked: Question, *, asked_by: str | None = None, trouble: Sequence[Reason] = ()
) -> Seen:
    rules = rules_on(asked.as_of, known_at=asked.known_at)
    trouble = [*trouble, *service_trouble(asked)]
    read = Reading(asked)
    item = read.by_number([item_no]).get(item_no)
    if item is not None:
        read.facts_with_mates([item.pk])
    return _seen_by(read, item_no, item, rules, trouble, asked_by=asked_by)


def _seen_by(
    read: Reading,
    item_no: str,
    item: Item | None,
    rules: Rules,
    trouble: Sequence[Reason],
    *,
    asked_by: str | None = None,
) -> Seen:
    if item is None or not read.known(item.pk):
        return Seen(readiness.refused(item_no, "NOT_IN_BOOK", as_of=read.asked.as_of, rules=rules))
    facts = read.facts[item.pk]
    mates = read.mates_of(item.pk)
    told = [(read.answer(mate, rules, trouble=trouble), read.facts[mate]) for mate in mates]
    return Seen(
        read.answer(item.pk, rules, asked_by=asked_by, trouble=trouble),
        item,
        facts,
        tuple(sorted(told, key=lambda pair: pair[1].item_no)),
        rating_of(facts, [read.facts[mate] for mate in mates], rules.pack),
        read.sets.get(facts.set_no or ""),
    )


def answers(
    item_nos: Sequence[str], asked: Question, *, asked_by: str | None = None, trouble: Sequence[Reason] = ()
) -> list[Answer]:
    """Answers in the order asked, with a constant number of queries."""
    return _answered([(item_no, tuple(trouble)) for item_no in item_nos], asked, asked_by=asked_by)


def answers_to(texts: Sequence[str], asked: Question, *, base_url: str) -> list[Answer]:
    """Answers to item numbers and label codes, mixed as they come, with a constant number of queries.

    An item number wins over a label code. What is neither is `unknown`, under the text as it was given.
    """
    numbers = set(Reading(asked).by_number(texts))
    labels = _labels_of([text for text in texts if text not in numbers], base_url=base_url)
    source = label_source(rules_on(asked.as_of))
    requests: list[tuple[str, tuple[Reason, ...]]] = []
    for text in texts:
        label, in_force = labels.get(text, (None, ""))
        if label is None:
            requests.append((text, ()))
        else:
            requests.append((label.item.item_no, _replaced(label.code, in_force, source=source)))
    return _answered(requests, asked)


def everything(asked: Question, *, at_once: int = 2000, of_copy: bool = False) -> Iterator[Answer]:
    """The answer about every item in the book, each folded from its entries with the hash chain checked.

    In order of item number; memory is needed for `at_once` items and their mates. With `of_copy`, what is wrong with
    this installation (its clock, a restore nobody answered for) is left out: two copies of a record are compared by
    such answers, and nobody is told one.
    """
    for batch in batches(list(Item.objects.order_by("item_no").values_list("item_no", flat=True)), at_once):
        yield from _answered([(item_no, ()) for item_no in batch], asked, of_copy=of_copy)


def _answered(
    requests: Sequence[tuple[str, tuple[Reason, ...]]],
    asked: Question,
    *,
    asked_by: str | None = None,
    of_copy: bool = False,
) -> list[Answer]:
    """Answers to (item number, what is already known to be wrong), in the order given."""
    rules = rules_on(asked.as_of, known_at=asked.known_at)
    service = [] if of_copy else service_trouble(asked)
    read = Reading(asked)
    items = read.by_number({item_no for item_no, _trouble in requests})
    read.facts_with_mates([item.pk for item in items.values()])
    result = []
    for item_no, trouble in requests:
        item = items.get(item_no)
        if item is None or not read.known(item.pk):
            result.append(readiness.refused(item_no, "NOT_IN_BOOK", as_of=asked.as_of, rules=rules))
        else:
            result.append(read.answer(item.pk, rules, asked_by=asked_by, trouble=[*trouble, *service]))
    return result


def _labels_of(texts: Sequence[str], *, base_url: str) -> dict[str, tuple[Label, str]]:
    """text: (label, code in force on its item), for the texts that are codes of labels in the book."""
    read = {text: codes.normalise(text, base_url=base_url).code for text in texts}
    labels: dict[str, Label] = {}
    in_force: dict[int, str] = {}
    for batch in batches(sorted({code for code in read.values() if code})):
        labels |= {label.code: label for label in Label.objects.select_related("item").filter(code__in=batch)}
    for batch in batches(sorted({label.item_id for label in labels.values()})):
        in_force |= dict(ItemState.objects.filter(pk__in=batch).values_list("pk", "label"))
    return {
        text: (labels[code], in_force.get(labels[code].item_id, ""))
        for text, code in read.items()
        if code in labels
    }


def label_source(rules: Rules) -> str:
    return rules.pack.block_source("LABEL_REPLACED") if rules.pack else "internal control"


def _replaced(code: str, in_force: str, *, source: str) -> tuple[Reason, ...]:
    """What speaks against a label that is not the one in force on its item."""
    return () if code == in_force else (Reason("LABEL_REPLACED", source, {"code": code}),)


class Reading:
    """Entries of some items and of the members of their sets, read in a constant number of queries.

    `also` are readings of the same items for other questions, which get their facts from the same entries.
    """

    def __init__(self, asked: Question, *, also: Sequence[Reading] = ()):
        self.asked = asked
        self.also = also
        self.broken: dict[int, str] = {}
        self.facts: dict[int, fold.ItemFacts] = {}
        self.sets: dict[str, SetFacts] = {}
        self.members: dict[str, list[int]] = {}
        self.usernames = dict(User.objects.values_list("pk", "username"))

    def by_number(self, item_nos: Iterable[str]) -> dict[str, Item]:
        found: dict[str, Item] = {}
        for batch in batches(list(item_nos)):
            found |= {item.item_no: item for item in Item.objects.filter(item_no__in=batch)}
        return found

    def facts_with_mates(self, pks: Sequence[int]) -> dict[int, fold.ItemFacts]:
        """Facts of the items and of everything that was ever in a set with them."""
        wanted = set(pks)
        for batch in batches(sorted(wanted)):
            sets = Membership.objects.filter(item_id__in=batch).values("gear_set_id")
            wanted |= set(Membership.objects.filter(gear_set__in=sets).values_list("item_id", flat=True))
        for batch in batches(sorted(wanted)):
            self._read(batch)
        for one in (self, *self.also):
            for pk, facts in one.facts.items():
                if facts.set_no:
                    one.members.setdefault(facts.set_no, []).append(pk)
            one._read_sets()
        return self.facts

    def known(self, pk: int) -> bool:
        """Whether anything was recorded of the item by then; a record that is broken is no absence."""
        facts = self.facts[pk]
        return bool(facts.identity or facts.unreadable or pk in self.broken)

    def mates_of(self, pk: int) -> list[int]:
        return [other for other in self.members.get(self.facts[pk].set_no or "", []) if other != pk]

    def answer(
        self, pk: int, rules: Rules, *, asked_by: str | None = None, trouble: Sequence[Reason] = ()
    ) -> Answer:
        """The decision; what breaks while deciding gives `unknown` for this item and hides no other."""
        try:
            return self.decide(pk, rules, asked_by=asked_by, trouble=trouble)
        except Exception:
            item_no = self.facts[pk].item_no
            log.exception("No answer could be decided for %s", item_no)
            return readiness.refused(item_no, "RECORD_UNREADABLE", as_of=self.asked.as_of, rules=rules)

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
        for pk, chain in reading.item_chains(pks).items():
            why, item_no = chain.problem(self.usernames), chain.subject.removeprefix("item:")
            for one in (self, *self.also):
                if why:
                    one.broken[pk] = why
                one.facts[pk] = one._folded(item_no, chain.entries)

    def _folded(self, item_no: str, chain: list[Entry]) -> fold.ItemFacts:
        """The facts; entries that cannot even be put in order leave a record that cannot be read."""
        try:
            return fold.fold(
                item_no,
                map(line_of, chain),
                as_of_at=self.as_of_at,
                known_at=self.asked.known_at or moments.FOR_EVER,
            )
        except (KeyError, TypeError, ValueError, AttributeError):
            log.exception("The entries of %s cannot be folded", item_no)
            return fold.ItemFacts(item_no, unreadable=["entries"])

    @property
    def as_of_at(self) -> datetime:
        return moments.FOR_EVER if self.asked.current else self.asked.as_of_at

    def _read_sets(self) -> None:
        """What each set is by its own entries; where these cannot be relied upon, neither can any of its members."""
        for batch in batches(sorted(self.members)):
            for chain in reading.set_chains(GearSet.objects.filter(set_no__in=batch)).values():
                set_no = chain.subject.removeprefix("set:")
                if why := chain.problem(self.usernames):
                    self.broken |= dict.fromkeys(self.members[set_no], f"set {set_no}: {why}") | self.broken
                stated = fold.set_stated(
                    map(line_of, chain.entries),
                    as_of_at=self.as_of_at,
                    known_at=self.asked.known_at or moments.FOR_EVER,
                )
                if stated:
                    self.sets[set_no] = SetFacts(set_no, stated["kind"], stated["required"])


def batches(values: list, size: int = 400) -> Iterator[list]:
    for start in range(0, len(values), size):
        yield values[start : start + size]


@dataclass(frozen=True)
class Scanned:
    """What a typed or scanned code led to: the item as seen, and the code as understood (empty when unreadable)."""

    seen: Seen
    code: str

    @property
    def answer(self) -> Answer:
        return self.seen.answer

    @property
    def item(self) -> Item | None:
        return self.seen.item


def scanned(text: str, asked: Question, *, base_url: str, asked_by: str | None = None) -> Scanned:
    """The answer for a label code as typed or scanned; what is not found is never good."""
    read = codes.normalise(text, base_url=base_url)
    rules = rules_on(asked.as_of)
    if read.code is None and read.problem != "foreign":
        unreadable = readiness.refused(
            "", "LABEL_UNREADABLE", as_of=asked.as_of, rules=rules, problem=read.problem
        )
        return Scanned(Seen(unreadable), "")
    label = Label.objects.select_related("item").filter(code=read.code or "").first()
    if label is None or read.code is None:
        # One answer for what nobody issued and for what another installation did: guesses learn nothing.
        return Scanned(
            Seen(readiness.refused("", "NOT_IN_BOOK", as_of=asked.as_of, rules=rules)), read.code or ""
        )
    in_force = ItemState.objects.filter(item=label.item).values_list("label", flat=True).first() or ""
    old = _replaced(read.code, in_force, source=label_source(rules))
    return Scanned(_seen(label.item.item_no, asked, asked_by=asked_by, trouble=old), read.code)
