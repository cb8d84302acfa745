"""What the change-out list reads: what people wear, what lies ready, and what was replaced already."""

from __future__ import annotations

from gear import queries
from gear.models import Crew, Holder
from gear.queries import Question
from gear.queries.not_returned import not_returned
from gear.queries.pairs import in_hands, on_shelves
from gear.queries.whereabouts import places
from gear.rules.whereabouts import Place, place_of
from reports.rules.changeout import ChangeOut, Worn, change_out
from reports.rules.overdue import Scope


def change_out_list(asked: Question, *, scope: Scope, within: int) -> ChangeOut:
    """Who is due for a change-out within so many days from now, in a constant number of queries."""
    where = places()
    worn = [
        Worn(pair, pair.holder["name"], place_of(pair.holder, where))
        for pair in in_hands(Holder.objects.filter(kind="person"), asked)
    ]
    crews = Crew.objects.values_list("name", "depot__name")
    return change_out(
        [one for one in worn if scope.covers(one.place)],
        on_shelves(asked),
        crews=[name for name, depot in crews if scope.covers(Place(name, depot))],
        replaced=[piece.item_no for one in not_returned(asked) for piece in one.pieces],
        within=within,
        floor=queries.rules_for(asked).policy.due_soon_days,
    )
