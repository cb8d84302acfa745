"""The two numbers of a working day: what could be used and must not be, and what falls due soon."""

from __future__ import annotations

from dataclasses import dataclass

from django.core.cache import cache

from gear.models import Entry, Holder, Item, User
from gear.queries.fleet import fleet, judged
from gear.queries.questions import Question
from gear.rules.fold import ItemFacts
from gear.rules.readiness import GOOD, Answer

SOON_DAYS = 14
KEPT_S = 60  # what verify_ledger finds shows within a minute; any entry shows at once


@dataclass(frozen=True)
class Tally:
    """`in_book` items; `danger`: in somebody's hands and not good; `soon`: good and due within SOON_DAYS.

    Of our own gear; `visitors` counts the pieces of others that are in hands here and not good.
    """

    in_book: int
    danger: int
    soon: int
    visitors: int = 0


def tally(asked: Question) -> Tally:
    """The numbers as of now, decided item by item; kept until the next entry, the next day or for a minute."""
    newest = Entry.objects.order_by("-recorded_at").values_list("recorded_at", flat=True).first()
    key = f"tally:{asked.as_of:%Y%m%d}:{newest.timestamp() if newest else 0}"
    kept = cache.get(key)
    if kept is None:
        kept = _counted(asked)
        cache.set(key, kept, timeout=KEPT_S)
    return kept


def _counted(asked: Question) -> Tally:
    in_book = danger = soon = visitors = 0
    for answer, facts in fleet(asked):
        if facts.owner:
            visitors += facts.usable and answer.verdict != GOOD
            continue
        in_book += 1
        if answer.verdict != GOOD:
            danger += facts.usable
        elif answer.days_left is not None and answer.days_left <= SOON_DAYS:
            soon += 1
    return Tally(in_book, danger, soon, visitors)


def held_by(person: User, asked: Question) -> list[tuple[Answer, ItemFacts]]:
    """What a person holds, each piece with its answer: not good first, then by last good day."""
    holder = Holder.objects.filter(person=person).first()
    if holder is None:
        return []
    held = Item.objects.filter(state__holder=holder).order_by("item_no")
    return sorted(judged(held, asked), key=_most_urgent)


def _most_urgent(told: tuple[Answer, ItemFacts]) -> tuple:
    answer, facts = told
    left = answer.days_left
    return (answer.verdict == GOOD, left is None, left or 0, facts.item_no)
