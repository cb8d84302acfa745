"""Items with their answers on today and on days to come, for whoever must answer without asking again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from gear.ledger import rules_on
from gear.models import Item, Label
from gear.queries.answers import Reading, batches, label_source
from gear.queries.questions import Question, service_trouble
from gear.queries.ratings import Rating, rating_of
from gear.rules import fold, readiness
from gear.rules.readiness import Answer, Reason, Rules

Ruled = tuple[Question, Rules, list[Reason]]


@dataclass(frozen=True)
class OverDays:
    """An item with its answers on each of some days, if nothing else happens; the first day's is `answers[0]`.

    `old_codes` are labels that were replaced, and `old_code_answers` what such a label is told; empty without one.
    `checked_answers` are the answers once it is inspected on the day, None where that would change nothing.
    `other_source` and `other_stops` say what holds for whoever does not have it.
    """

    item: Item
    facts: fold.ItemFacts
    mates: tuple[str, ...]
    rating: Rating | None
    old_codes: tuple[str, ...]
    answers: tuple[Answer, ...]
    old_code_answers: tuple[Answer, ...]
    checked_answers: tuple[Answer | None, ...]
    other_source: str
    other_stops: tuple[bool, ...]

    @property
    def reliable(self) -> bool:
        """Whether dates and ratings may be shown: not where the record itself cannot be relied upon."""
        return not any(reason.code in readiness.OVERRIDING for reason in self.answers[0].reasons)


def over_days(item_nos: Sequence[str], days: Sequence[Question]) -> Iterator[OverDays]:
    """The items that are in the book, in the order asked, each under the rules of every day; read once for all days.

    `days` are questions in which every entry on record counts: today and days to come.
    """
    ruled = [(asked, rules_on(asked.as_of), service_trouble(asked)) for asked in days]
    read = Reading(days[0])
    items = read.by_number(item_nos)
    read.facts_with_mates([item.pk for item in items.values()])
    labels = _labels_of([item.pk for item in items.values()])
    for item_no in item_nos:
        item = items.get(item_no)
        if item is not None and read.known(item.pk):
            yield _over_days(read, item, labels.get(item.pk, []), ruled)


def _labels_of(pks: Sequence[int]) -> dict[int, list[str]]:
    found: dict[int, list[str]] = {}
    for batch in batches(sorted(pks)):
        of_items = Label.objects.filter(item_id__in=batch).order_by("code")
        for pk, code in of_items.values_list("item_id", "code"):
            found.setdefault(pk, []).append(code)
    return found


def _over_days(read: Reading, item: Item, labels: Sequence[str], ruled: Sequence[Ruled]) -> OverDays:
    facts = read.facts[item.pk]
    old_codes = tuple(code for code in labels if code != facts.label)
    given, old, checked = [], [], []
    for read.asked, rules, trouble in ruled:
        given.append(read.answer(item.pk, rules, trouble=trouble))
        checked.append(_once_checked(read, item.pk, rules, trouble))
        if old_codes:
            void = Reason("LABEL_REPLACED", label_source(rules), {"code": old_codes[0]})
            old.append(read.answer(item.pk, rules, trouble=[*trouble, void]))
    pack, mates = ruled[0][1].pack, read.mates_of(item.pk)
    return OverDays(
        item,
        facts,
        tuple(read.facts[mate].item_no for mate in mates),
        rating_of(facts, [read.facts[mate] for mate in mates], pack),
        old_codes,
        tuple(given),
        tuple(old),
        tuple(checked),
        pack.block_source("OTHER_HOLDER") if pack else "internal control",
        tuple(rules.policy.other_holder_stops for _asked, rules, _trouble in ruled),
    )


def _once_checked(read: Reading, pk: int, rules: Rules, trouble: Sequence[Reason]) -> Answer | None:
    """The answer as it would be with an inspection before use recorded on the day; None where one is recorded."""
    facts = read.facts[pk]
    if not rules.policy.preuse_stops or facts.checked_on == read.asked.as_of:
        return None
    read.facts[pk] = replace(facts, checked_on=read.asked.as_of)
    try:
        return read.answer(pk, rules, trouble=trouble)
    finally:
        read.facts[pk] = facts
