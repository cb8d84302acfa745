"""What calls for a look today beside the lines of the report: scrapped pieces seen, and use on old data."""

from __future__ import annotations

from gear.models import User
from gear.queries import Question
from gear.queries.sightings import Sighting, open_sightings
from gear.queries.stale_uses import StaleUse, open_stale_uses
from gear.queries.whereabouts import places
from gear.rules.whereabouts import Place
from reports.rules.overdue import Scope
from reports.wording.weekly import Alarms


def alarms(asked: Question, scope: Scope) -> Alarms | None:
    """How many are open now that concern a reader; None for a question about the past, of which nothing is open."""
    if not asked.current:
        return None
    where = places() if scope.kind != "book" else {}
    return Alarms(
        scrapped_seen=sum(_seen_in(one, scope, where) for one in open_sightings()),
        old_data=sum(_used_in(one, scope) for one in open_stale_uses(asked.asked_at)),
    )


def _seen_in(one: Sighting, scope: Scope, where: dict[tuple[str, str], Place]) -> bool:
    """Where the piece is on record, or where whoever saw it belongs."""
    holder = one.item.state.holder
    place = where.get((holder.kind, holder.name), Place()) if holder else Place()
    return scope.covers(place) or any(scope.covers(_of(answer.by)) for answer in one.answers)


def _used_in(one: StaleUse, scope: Scope) -> bool:
    return scope.covers(_of(one.look.by))


def _of(person: User | None) -> Place:
    if person is None:
        return Place()
    depot = person.depot or (person.crew.depot if person.crew else None)
    return Place(person.crew.name if person.crew else None, depot.name if depot else None)
