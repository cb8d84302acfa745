"""The promises of the weekly report, each as long as its line is open."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

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
