"""What reports read: the whole book answered as of a day, narrowed to what its reader may see."""

from __future__ import annotations

from django.conf import settings
from django.db.models import F
from django.db.models.functions import Coalesce

from gear import queries
from gear.models import Crew, Holder, Item, Seal, User
from gear.queries import Question
from reports.rules.overdue import Heading, OverdueReport, Place, Scope, SealMark, overdue
from reports.wording import Phone


def overdue_report(asked: Question, *, scope: Scope) -> OverdueReport:
    """The overdue report as of a question.

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
    )
    # Items are added while this reads, and never deleted: what is judged lies between two counts of the table.
    fewest = Item.objects.count() if asked.current else 0
    return overdue(
        queries.fleet(asked),
        heading=heading,
        places=_places() if asked.current else None,
        bounds=lambda: (fewest, Item.objects.count()),
    )


def phones() -> dict[str, Phone]:
    """Whom to call, by name of crew, as on record today."""
    foremen: dict[str, list[str]] = {}
    people = User.objects.filter(role="foreman", is_active=True).select_related("crew")
    for one in people.order_by("last_name", "username"):
        if one.crew:
            foremen.setdefault(one.crew.name, []).append(one.name)
    return {
        name: Phone(tuple(foremen.get(name, ())), number)
        for name, number in Crew.objects.values_list("name", "phone")
    }


def _places() -> dict[tuple[str, str], Place]:
    """Where every holder belongs today. A person who changed crews is called through the new foreman."""
    crew = Coalesce(F("person__crew__name"), F("crew__name"))
    depot = Coalesce(
        F("person__crew__depot__name"), F("person__depot__name"), F("depot__name"), F("crew__depot__name")
    )
    return {
        (kind, name): Place(crew_name, depot_name)
        for kind, name, crew_name, depot_name in Holder.objects.values_list("kind", "name", crew, depot)
    }


def _last_seal() -> SealMark | None:
    seal = Seal.objects.order_by("-number").first()
    return SealMark(seal.number, seal.sealed_at, seal.row_count, seal.merkle_root) if seal else None
