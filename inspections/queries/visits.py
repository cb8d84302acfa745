"""Reads of visits: who is here, with what, what each piece is answered now, and what is still open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Count

from gear import queries
from gear.models import Item
from gear.queries import Question
from gear.rules.fold import ItemFacts
from gear.rules.readiness import GOOD, Answer
from inspections.models import Visit, VisitPiece, VisitRow

OVER = ("destroyed", "lost")


@dataclass(frozen=True)
class Brought:
    """One piece of a visit with its answer now."""

    piece: VisitPiece
    answer: Answer
    facts: ItemFacts

    @property
    def item(self) -> Item:
        return self.piece.item

    @property
    def good(self) -> bool:
        return self.answer.verdict == GOOD

    @property
    def open(self) -> bool:
        """Whether nobody has said yet what became of it: gone home, missing, or destroyed here."""
        return self.facts.away is None and self.facts.condition not in OVER


def visits() -> tuple[list[Visit], list[Visit]]:
    """(those that are here, the first expected to leave first; the newest that are over)."""
    counted = Visit.objects.annotate(brought=Count("pieces"))
    here = counted.filter(closed_at__isnull=True).order_by("expected_until", "pk")
    return list(here), list(counted.filter(closed_at__isnull=False).order_by("-closed_at", "-pk")[:20])


def visit(number: str) -> Visit | None:
    return Visit.objects.select_related("depot", "started_by", "closed_by").filter(number=number).first()


def rows_of(one: Visit) -> list[VisitRow]:
    """The rows that are not in the book yet, the newest first."""
    rows = one.rows.filter(pieces__isnull=True).select_related("looked_by")
    return list(rows.order_by("-place"))


def brought(one: Visit, asked: Question, *, person: str | None = None) -> list[Brought]:
    """The pieces of a visit by person and number, each with its answer now; a constant number of queries."""
    pieces = one.pieces.select_related("item__item_type", "row__looked_by").order_by(
        "person", "item__item_no"
    )
    if person is not None:
        pieces = pieces.filter(person=person)
    kept: Sequence[VisitPiece] = list(pieces)
    wanted = Item.objects.filter(pk__in=[one.item_id for one in kept]).order_by("item_no")
    told = {facts.item_no: (answer, facts) for answer, facts in queries.judged(wanted, asked)}
    return [Brought(one, *told[one.item.item_no]) for one in kept if one.item.item_no in told]
