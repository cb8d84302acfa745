"""Gear found by the words of the trade, each piece with its answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Case, IntegerField, Q, QuerySet, Value, When

from gear.models import Item
from gear.queries.fleet import judged
from gear.queries.questions import Question
from gear.rules.fold import ItemFacts
from gear.rules.readiness import Answer
from gear.rules.search import REASONS_OF, VERDICTS, Query

PAGE = 25
# condition asked for: the facts that say so even where a worse condition hides it
_FACTS = {
    "held": ("holds",),
    "lost": ("lost",),
    "rejected": ("rejected", "failed", "damaged"),
    "destroyed": ("destroyed",),
    "out_for_test": ("out_for_test",),
    "out_for_repair": ("out_for_repair",),
    "needs_cleaning": ("needs_cleaning",),
}
_WORD_FIELDS = (
    "item_no",
    "serial",
    "lot",
    "item_type__maker",
    "item_type__model",
    "item_type__size",
    "state__holder__name",
    "state__holder__crew__name",
    "state__holder__depot__name",
    "state__gear_set__set_no",
)


@dataclass(frozen=True)
class Found:
    """One page of what was found. `total` counts all pages."""

    rows: Sequence[tuple[Answer, ItemFacts]]
    total: int
    page: int
    pages: int


def search(query: Query, asked: Question, *, page: int = 1) -> Found:
    """The page of items that fit, exact numbers and serials first, then by item number, each with its answer.

    Where the query is about the answer itself, every candidate is judged; nothing is told from stored dates.
    """
    items = _fitting(query)
    if query.standings:
        fitting = [told for told in judged(items, asked) if _has_standing(told[0], query)]
        pages, page = _pages(len(fitting), page)
        return Found(fitting[(page - 1) * PAGE : page * PAGE], len(fitting), page, pages)
    total = items.count()
    pages, page = _pages(total, page)
    return Found(list(judged(items[(page - 1) * PAGE : page * PAGE], asked)), total, page, pages)


def _pages(total: int, page: int) -> tuple[int, int]:
    """How many pages there are, and the one asked for or the nearest."""
    pages = max(1, -(-total // PAGE))
    return pages, min(max(page, 1), pages)


def _fitting(query: Query) -> QuerySet[Item]:
    items = Item.objects.filter(_about_type(query), _about_place(query))
    for word in query.words:
        items = items.filter(_word(word))
    exact = Q(item_no__iexact=" ".join(query.words)) | Q(serial__iexact=" ".join(query.words))
    first = Case(When(exact, then=Value(0)), default=Value(1), output_field=IntegerField())
    return items.alias(first=first).order_by("first", "item_no", "pk")


def _about_type(query: Query) -> Q:
    fits = Q()
    if query.kinds:
        fits &= Q(item_type__kind__in=query.kinds)
    if query.cls is not None:
        fits &= Q(item_type__cls=query.cls)
    if query.kv is not None:
        # A voltage that names no class may still be marked on the piece.
        fits &= Q(item_type__cls=query.kv_class) if query.kv_class else Q(item_type__rated_kv=query.kv)
    if query.size is not None:
        fits &= Q(item_type__size__in=_spellings(query.size))
    if query.length_mm is not None:
        fits &= Q(item_type__length_mm__range=query.length_mm)
    if query.cable_size is not None:
        fits &= Q(item_type__cable_size=query.cable_size)
    if query.cable_mm is not None:
        fits &= Q(item_type__cable_length_m__range=[Decimal(mm) / 1000 for mm in query.cable_mm])
    if query.type is not None:
        fits &= Q(item_type__type=query.type)
    return fits & Q(hand=query.hand) if query.hand is not None else fits


def _spellings(size: str) -> list[str]:
    """A size as it may be written in the book: 9.5 and 9,5; 36 x 36 and 36x36."""
    return sorted({size, size.replace(".", ","), size.replace(" ", ""), size.replace("x", "X"), f"{size} in"})


def _about_place(query: Query) -> Q:
    fits = Q()
    if query.crew is not None:
        fits &= Q(state__holder__crew__name__iexact=f"crew {query.crew}") | Q(
            state__holder__crew__name__iexact=query.crew
        )
    if query.truck is not None:
        fits &= Q(state__holder__name__iexact=f"truck {query.truck}") | Q(
            state__holder__name__iexact=query.truck
        )
    if query.holder_kinds:
        fits &= Q(state__holder__kind__in=query.holder_kinds)
    for condition in sorted(query.conditions):
        said = Q(state__condition=condition)
        for fact in _FACTS[condition]:
            said |= Q(state__facts__has_key=fact)
        fits &= said
    return fits


def _word(word: str) -> Q:
    fits = Q()
    for name in _WORD_FIELDS:
        fits |= Q(**{f"{name}__icontains": word})
    return fits


def _has_standing(answer: Answer, query: Query) -> bool:
    """Whether the answer is what was asked for, in every respect that was named."""
    return all(_is(answer, standing) for standing in query.standings)


def _is(answer: Answer, standing: str) -> bool:
    if standing in VERDICTS:
        return answer.verdict == standing
    if standing == "due_soon":
        return answer.verdict == "good" and any(note.code == "DUE_SOON" for note in answer.notes)
    return bool(REASONS_OF[standing] & {reason.code for reason in answer.reasons})
