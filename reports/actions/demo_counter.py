"""At the counter of the demo: a pair that stays out, two single gloves, a leaver, a loan, and the site's own kit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, timedelta

from fixtures.demo.people import LEAVER
from gear.actions import condition
from gear.actions.acting import Act
from gear.actions.exchange import Exchange, cautions_of, exchange
from gear.actions.kits import set_kit, set_leaving
from gear.actions.moving import Removal, load_to, move_everything
from gear.models import Holder, Item
from gear.queries import question
from gear.queries.pairs import in_hands, on_shelves
from gear.rules.kits import Need
from gear.rules.pairs import Pair, differing, first_to_expire, group_of

CURIOUS = ("MONTHEND", "LEAPDAY")  # kept on the shelf to be looked at
MakeAct = Callable[..., Act]


def at_the_counter(today: date, act: MakeAct) -> None:
    """Told after the gear is there. `act(username, days=0, hour=6)` is something that somebody did."""
    set_kit([Need("glove", "2", 1), Need("glove", "0", 1), Need("sleeve", "2", 1)], act=act("ines"))
    set_leaving(Holder.objects.get(kind="person", name=LEAVER), today + timedelta(days=9), act=act("ines"))
    _single_gloves(on_shelves(question()), act)
    _kept(act)
    lender, borrower = (Holder.objects.get(kind="truck", name=name) for name in ("T-05", "T-06"))
    numbers = _blankets(lender)
    shown = load_to(lender, borrower, only=numbers).shown
    move_everything(
        Removal(lender, borrower, shown, only=numbers, note="lent until Friday"), act=act("bertrand", days=1)
    )


def _single_gloves(ready: Sequence[Pair], act: MakeAct) -> None:
    """Of two pairs of one make, one loses its left and the other its right."""
    makes: dict[tuple[str, ...], list[Pair]] = {}
    for pair in sorted(ready, key=lambda one: one.name):
        makes.setdefault(group_of(pair.identity), []).append(pair)
    first, second = next(found for found in makes.values() if len(found) > 3)[:2]
    for piece, why in ((first.pieces[0], "pinhole in the palm"), (second.pieces[1], "cuff torn")):
        item = Item.objects.get(item_no=piece.item_no)
        condition.reject(item, reason=why, act=act("orla", days=4, hour=14))


def _kept(act: MakeAct) -> None:
    """A worker who was due got a new pair and did not hand over the old one."""
    worn = in_hands(Holder.objects.filter(kind="person", crew__name="Crew 9"), question())
    ready = [one for one in on_shelves(question()) if not one.name.endswith(CURIOUS)]
    for old in sorted(
        (one for one in worn if one.good and one.both_hands), key=lambda one: (one.days or 0, one.name)
    ):
        fitting = [one for one in ready if not differing(one.identity, old.identity)]
        if order := first_to_expire(fitting, floor=60, depot=old.depot):
            break
    else:
        return
    to = Holder.objects.get(kind="person", name=old.holder["name"])
    pieces = Item.objects.filter(item_no__in=[one.item_no for one in old.pieces]).order_by("item_no")
    said = cautions_of(order[0], old=old.pieces, to=to)
    wanted = Exchange(
        to,
        Item.objects.get(item_no=order[0].pieces[0].item_no),
        tuple(pieces),
        None,
        order[0].days,
        frozenset(one.token for one in said),
    )
    exchange(wanted, act=act("orla", days=3))


def _blankets(lender: Holder) -> tuple[str, ...]:
    fit = Item.objects.filter(state__holder=lender, state__condition="ok", item_type__kind="blanket")
    return tuple(fit.order_by("item_no").values_list("item_no", flat=True)[:2])
