"""The demo's trucks: T-12 as a rubber-glove bucket with 34 pieces aboard, and the walk at which three were not seen."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta
from uuid import UUID

from gear import queries
from gear.actions import custody
from gear.actions.acting import Act
from gear.ledger import site_zone
from gear.models import Holder, Item
from gear.rules import moments
from gear.rules.readiness import GOOD
from inspections.actions.loads import Walk, add_class, fit_truck, record_walk
from inspections.models import LoadList
from inspections.queries import loads
from inspections.queries.load_words import line_words
from inspections.queries.loads import OnRecord
from inspections.rules import loadlist
from inspections.rules.loadlist import NOT_SEEN, SEEN, SHIPPED, Line

ABOARD = 34
KEPT = {"grounding_jumper": 2, "blanket": 6, "hood": 2, "rigid_cover": 3}  # of a kind; line hose fills it up
RIDE_ALONG = ("Dev Lanyon", "Marisol Tregear")
WALK = UUID(int=0x12)
Acting = Callable[..., Act]


def trucks(today: date, act: Acting) -> None:
    """Classes of trucks, what T-12 carries, and Bertrand's walk round it yesterday."""
    bucket = add_class("Rubber-glove bucket", SHIPPED, act=act("bertrand"))
    derrick = (Line("glove", 2, "2"), Line("rigid_cover", 6), Line("grounding_jumper", 1, "1/0"))
    pole = add_class("Digger derrick", derrick, act=act("ines"))
    for name, cls in (("T-12", bucket), ("T-19", bucket), ("T-07", bucket), ("T-03", pole)):
        fit_truck(Holder.objects.get(kind="truck", name=name), cls, act=act("orla"))
    twelve = Holder.objects.get(kind="truck", name="T-12")
    people = list(Holder.objects.filter(kind="person", name__in=RIDE_ALONG))
    _lighten(twelve, people, act)
    _walk(twelve, people, loads.list_of(twelve), today, act)


def _lighten(truck: Holder, people: list[Holder], act: Acting) -> None:
    """What T-12 carries beyond its 34 pieces goes to the shelf of its tool room."""
    rows = loads.on_record(truck, people=people, asked=queries.question())
    mine = [row for row in rows if row.holder == truck.name]
    stays = _chosen(mine, ABOARD - sum(row.expected for row in rows if row.holder != truck.name))
    surplus = [row.item_no for row in mine if row.expected and row.item_no not in stays]
    shelf = Holder.objects.get(kind="shelf", name="Tannery Road tool room")
    if surplus:
        custody.move(
            list(Item.objects.filter(item_no__in=surplus).order_by("item_no")), to=shelf, act=act("orla")
        )


def _chosen(mine: list[OnRecord], room: int) -> set[str]:
    """Some of each kind, and line hose as far as there is room. The story's pieces come first: they are told of."""
    mine = sorted(mine, key=lambda row: (row.answer.verdict == GOOD, row.last_day or date.max, row.item_no))
    chosen: list[str] = []
    for kind, count in KEPT.items():
        there = [row.item_no for row in mine if row.expected and row.facts.kind == kind]
        chosen += there[:count]
    hose = [row.item_no for row in mine if row.expected and row.facts.kind == "line_hose"]
    return {*chosen[:room], *hose[: max(0, room - len(chosen))]}


def _walk(truck: Holder, people: list[Holder], listed: LoadList | None, today: date, act: Acting) -> None:
    """31 of 34: a blanket, a jumper and a left sleeve were not seen."""
    asked = queries.question()
    rows = [row for row in loads.on_record(truck, people=people, asked=asked) if row.expected]
    unseen = _unseen(rows)
    pieces = [_piece(row, row.item_no in unseen, asked.asked_at - timedelta(days=1)) for row in rows]
    found = [loads.found_in(piece) for piece in pieces]
    lines = loadlist.from_json(listed.lines) if listed else ()
    seen = [row for row in rows if row.item_no not in unseen]
    covers = loads.covers(lines, seen, back_on=today - timedelta(days=1))
    short = tuple(
        {"words": line_words(one.line), "count": one.line.count, "aboard": one.aboard} for one in covers
    )
    tally = loadlist.tally(found, back_on=today, short=sum(one.short for one in covers))
    began = moments.start_of_day(today - timedelta(days=1), site_zone()) + timedelta(hours=5, minutes=31)
    walk = Walk(
        truck=truck,
        started_at=began,
        finished_at=began + timedelta(minutes=2, seconds=40),
        back_on=today - timedelta(days=1),
        crew=tuple(one.name for one in people),
        load_list=listed,
        outcome=tally.outcome,
        pieces=tuple(pieces),
        short=short,
        data_as_of=began - timedelta(minutes=6),
        people=tuple(people),
    )
    record_walk(walk, act=Act(act("bertrand").by, "field", "Bertrand Coyle's phone", began, id=WALK))


def _unseen(rows: list[OnRecord]) -> set[str]:
    def last(**wanted: str) -> str:
        fits = [
            row for row in rows if all(row.facts.identity.get(name) == word for name, word in wanted.items())
        ]
        return fits[-1].item_no

    return {last(kind="blanket"), last(kind="grounding_jumper"), last(kind="sleeve", hand="L")}


def _piece(row: OnRecord, unseen: bool, at: datetime) -> dict[str, object]:
    if unseen:
        told: dict[str, object] = {"state": NOT_SEEN, "verdict": "", "reasons": [], "good_through": None}
        return {
            "no": row.item_no,
            "code": "",
            **told,
            "as_of_ms": None,
            "age_s": None,
            "source": "",
            "taken": False,
        }
    through = row.last_day
    return {
        "no": row.item_no,
        "code": row.facts.label or "",
        "state": SEEN,
        "verdict": row.answer.verdict,
        "reasons": [reason.code for reason in row.answer.reasons],
        "good_through": through.isoformat() if through else None,
        "as_of_ms": int(at.timestamp() * 1000),
        "age_s": 360,
        "source": "phone",
        "taken": False,
    }
