"""What stands on a truck's papers: every piece of it and its people with answer and rating, its list, its last walk."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from gear.models import Holder
from gear.queries import Question, rules_for
from gear.queries.ratings import rating_of
from gear.rules.fold import ItemFacts
from inspections.queries import loads
from inspections.rules import loadlist
from reports.wording.loadsheet import Load, Piece


def load_sheet(truck: Holder, asked: Question, *, back_on: date, people: Sequence[Holder]) -> Load:
    """The load of one truck with these people, in a constant number of queries."""
    rows = loads.on_record(truck, people=people, asked=asked)
    pack = rules_for(asked).pack
    mates: dict[str, list[ItemFacts]] = {}
    for row in rows:
        if row.facts.set_no:
            mates.setdefault(row.facts.set_no, []).append(row.facts)
    pieces = tuple(
        Piece(
            row,
            rating_of(
                row.facts,
                [one for one in mates.get(row.facts.set_no or "", []) if one.item_no != row.item_no],
                pack,
            ),
        )
        for row in rows
    )
    lines = loads.list_of(truck)
    covers = loads.covers(loadlist.from_json(lines.lines), rows, back_on=back_on) if lines else []
    walk = loads.last_walks([truck]).get(truck.pk)
    label = pack.label if pack else ""
    return Load(truck, asked, label, back_on, tuple(people), pieces, lines, tuple(covers), walk)
