"""The promises of the weekly report, each as long as its line is open."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from django.db.models import Q, QuerySet

from gear.models import User
from gear.permissions import bound_to
from gear.queries import Question
from gear.queries.answers import batches
from gear.rules.spells import Spell
from reports.models import Promise
from reports.rules.loop import promise_in_force
from reports.rules.overdue import Promised


def promises(item_nos: Sequence[str], asked: Question) -> dict[str, list[Promised]]:
    """Every promise about these pieces that was made by the moment of a question, by number."""
    until = asked.known_at or (asked.asked_at if asked.current else asked.as_of_at)
    found: dict[str, list[Promised]] = {}
    for batch in batches(list(item_nos)):
        rows = Promise.objects.filter(item__item_no__in=batch, at__lte=until)
        for row in rows.select_related("item", "owner", "by").order_by("at", "pk"):
            one = Promised(row.owner.name, row.promised_on, row.note, row.by.name, row.at)
            found.setdefault(row.item.item_no, []).append(one)
    return found


def within_reach(reader: User) -> QuerySet[User]:
    """Whom somebody may name: the active people that their reading reaches.

    To a foreman these are the people of his crew and the office of its depot, to whoever is bound to a depot its
    people; an office that is bound to none belongs to all.
    """
    active = User.objects.filter(is_active=True).order_by("last_name", "username")
    depot = reader.depot or (reader.crew.depot if reader.crew else None)
    office = Q(role__in=("clerk", "supervisor")) & (Q(depot=None) | Q(depot=depot))
    if reader.role == "foreman":
        return active.filter(office | Q(pk=reader.pk) | Q(crew__isnull=False, crew=reader.crew))
    if bound_to(reader) is None:
        return active
    return active.filter(office | Q(depot=depot) | Q(crew__depot=depot))


def promises_in_force(
    openings: Mapping[str, Spell | None], given: Mapping[str, Iterable[Promised]]
) -> dict[str, Promised]:
    """Of the promises about open lines those that belong to the present spell of each."""
    found = {
        item_no: promise_in_force(given[item_no], opening)
        for item_no, opening in openings.items()
        if item_no in given
    }
    return {item_no: one for item_no, one in found.items() if one is not None}
