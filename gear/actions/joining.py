"""Sets that come with a gear book: formed at first sight, made larger when later rows add pieces."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from django.db.models import Count

from gear.actions.acting import Act
from gear.actions.sets import KIND_OF_SET
from gear.ledger import Draft, moment_of, record_many
from gear.ledger.states import batches
from gear.models import Entry, GearSet, ItemState, Membership
from gear.rules.gearbook import GearRow
from gear.rules.tables import Problem

PAIR = 2


def kind_of_set(row: GearRow) -> str:
    """`pair` of gloves or sleeves, `grounding` of jumpers, `kit` of anything else."""
    return KIND_OF_SET.get(row.kind, "kit")


def new_sets(rows: Sequence[GearRow]) -> tuple[str, ...]:
    """The set numbers that are not in the book yet."""
    wanted = {row.set_no for row in rows if row.set_no}
    return tuple(sorted(wanted - _known(wanted).keys()))


def _known(numbers: set[str], *, lock: bool = False) -> dict[str, GearSet]:
    rows = GearSet.objects.select_for_update() if lock else GearSet.objects.all()
    return {
        row.set_no: row
        for batch in batches(sorted(numbers))
        for row in rows.filter(set_no__in=batch).order_by("pk")
    }


def mixed_sets(rows: Sequence[GearRow]) -> Iterator[Problem]:
    """A problem for every row that would put another kind of item into a set that is in the book."""
    known = _known({row.set_no for row in rows if row.set_no})
    kinds = {
        gear_set: kind
        for batch in batches(sorted(row.pk for row in known.values()))
        for gear_set, kind in Membership.objects.filter(gear_set__in=batch)
        .order_by("pk")
        .values_list("gear_set_id", "item__item_type__kind")
    }
    for row in rows:
        gear_set = known.get(row.set_no or "")
        if gear_set is None:
            continue
        kind = kinds.get(gear_set.pk)
        if gear_set.kind != kind_of_set(row) or (kind and kind != row.kind):
            shown = {"field": "set_no", "shown": row.set_no, "other": kind or gear_set.kind}
            yield Problem(row.line, "MIXED_SET_IN_BOOK", shown)


def form_sets(rows: Sequence[GearRow], *, act: Act, moment: datetime) -> None:
    """Make the sets that rows name, and enlarge those that get more pieces than they were formed of."""
    joining: dict[str, list[GearRow]] = {}
    for row in rows:
        if row.set_no:
            joining.setdefault(row.set_no, []).append(row)
    known = _known(
        set(joining), lock=True
    )  # else two files that add pieces at once would both count from before
    fresh = [
        GearSet(set_no=number, kind=kind_of_set(pieces[0]), required=_required(pieces))
        for number, pieces in joining.items()
        if number not in known
    ]
    made = GearSet.objects.bulk_create(fresh, batch_size=500)
    drafts = [_formed(row, _first_day(joining[row.set_no]), moment) for row in made]
    drafts += _enlarged(known, joining, moment)
    record_many(drafts, by=act.by, via=act.via, device=act.device)


def _required(pieces: Sequence[GearRow]) -> int:
    return PAIR if kind_of_set(pieces[0]) == "pair" else len(pieces)


def _first_day(pieces: Sequence[GearRow]) -> date | None:
    """The day on which the first piece came; None where no piece has a day."""
    days = [day for row in pieces if (day := row.received_on or row.made_on or row.first_issued_on)]
    return min(days, default=None)


def _formed(row: GearSet, day: date | None, moment: datetime) -> Draft:
    return Draft(row, "set_formed", _facts(row), **({"occurred_on": day} if day else {"occurred_at": moment}))


def _facts(row: GearSet) -> dict[str, Any]:
    return {"set_no": row.set_no, "kind": row.kind, "required": row.required}


def _enlarged(
    known: Mapping[str, GearSet], joining: Mapping[str, list[GearRow]], moment: datetime
) -> list[Draft]:
    """New `set_formed` entries for sets that get more pieces than they were formed of; pairs never do."""
    grounds = {number: row for number, row in known.items() if row.kind != "pair"}
    members: Counter[int] = Counter()
    latest: dict[int, Entry] = {}
    for batch in batches(sorted(row.pk for row in grounds.values())):
        counted = ItemState.objects.filter(gear_set__in=batch).values("gear_set").annotate(pieces=Count("pk"))
        members.update({one["gear_set"]: one["pieces"] for one in counted})
        formed = Entry.objects.filter(gear_set__in=batch, kind="set_formed").order_by(
            "occurred_at", "position"
        )
        latest.update({one.gear_set_id: one for one in formed if one.gear_set_id})
    grown = []
    for number, row in grounds.items():
        required = max(row.required or 0, members[row.pk] + len(joining[number]))
        if required != row.required:
            row.required = required
            grown.append(row)
    GearSet.objects.bulk_update(grown, ["required"], batch_size=200)
    return [_grown(row, latest.get(row.pk), _first_day(joining[row.set_no]), moment) for row in grown]


def _grown(row: GearSet, latest: Entry | None, day: date | None, moment: datetime) -> Draft:
    """The set grew when the pieces came, but never before it was last formed: the newest entry is what counts."""
    came, _day, _precision = moment_of(
        "set_formed", {}, occurred_at=None if day else moment, occurred_on=day, now=moment
    )
    if latest is None or latest.occurred_at < came:
        return _formed(row, day, moment)
    if latest.precision == "day":
        return Draft(row, "set_formed", _facts(row), occurred_on=latest.occurred_on)
    return Draft(row, "set_formed", _facts(row), occurred_at=latest.occurred_at)
