"""What reports read: the whole book answered as of a day, narrowed to what its reader may see."""

from __future__ import annotations

from collections.abc import Iterable

from django.conf import settings

from gear import queries
from gear.models import Item, Seal
from gear.queries import Question
from gear.queries.places_then import register_then
from gear.queries.whereabouts import phones, places
from gear.rules.fold import ItemFacts
from gear.rules.readiness import Answer
from gear.rules.whereabouts import Place
from inspections.queries import Awaited, awaited
from reports.rules.overdue import Heading, OverdueReport, Scope, SealMark, overdue

__all__ = ["lab_shipments", "overdue_report", "phones"]


def overdue_report(
    asked: Question, *, scope: Scope, judged: Iterable[tuple[Answer, ItemFacts]] | None = None
) -> OverdueReport:
    """The overdue report as of a question; `judged` are the answers about the whole book where they were read already.

    Now, the number of queries does not grow with the book. Raises DoesNotReconcile where an item of the table is
    not accounted for.
    """
    rules = queries.rules_for(asked)
    heading = Heading(
        as_of=asked.as_of,
        as_of_at=asked.as_of_at,
        made_at=asked.asked_at,
        zone=settings.TIME_ZONE,
        rule_pack=rules.pack.label if rules.pack else "",
        seal=_last_seal(),
        demo=settings.DEMO,
        scope=scope,
        known_at=asked.known_at,
    )
    # Items are added while this reads, and never deleted: what is judged lies between two counts of the table.
    fewest = Item.objects.count() if asked.current else 0
    return overdue(
        queries.fleet(asked) if judged is None else judged,
        heading=heading,
        places=places_of(asked),
        bounds=lambda: (fewest, Item.objects.count()),
    )


def places_of(asked: Question) -> dict[tuple[str, str], Place] | None:
    """Where holders belong now, or belonged when it was known; None where the moves themselves must tell."""
    if asked.current:
        return places()
    return register_then(asked.known_at).places() if asked.known_at else None


def lab_shipments(heading: Heading) -> list[Awaited] | None:
    """What was with a lab at the moment of a report; None for a crew, whose business it is not."""
    return None if heading.scope.kind == "crew" else awaited(as_of=heading.as_of, at=heading.as_of_at)


def _last_seal() -> SealMark | None:
    seal = Seal.objects.order_by("-number").first()
    return SealMark(seal.number, seal.sealed_at, seal.row_count, seal.merkle_root) if seal else None
