"""Twelve gloves by hand: G-01 passed on 2 March and failed on 9 September 2026, and what was with it in between.

What each glove is there for is its line in `WHY`; which of them are tied to G-01 was worked out on paper.
"""

from datetime import UTC, date, datetime

import time_machine

from gear.actions.acting import Act
from gear.ledger import Draft, append, record_many
from inspections.actions.bench_posting import post
from inspections.models import Shipment, ShipmentLine
from tests import builders
from tests.inspections.bench_day import day, typed
from tests.inspections.cartons import lab
from tests.inspections.sealed_rows import job_check
from tests.inspections.walking import piece, walked

PASSED, FAILED = date(2026, 3, 2), date(2026, 9, 9)
WHY = {
    "G-01": "the one that failed",
    "G-02": "its mate until 1 July",
    "G-03": "its mate since 1 July, on truck T-12",
    "G-04": "its mate before its last good test: not tied",
    "G-05": "in the bench session of its last good test, with Dev",
    "G-06": "in another session of that day: not tied",
    "G-07": "of its lot and maker",
    "G-08": "of a lot of that name of another maker: not tied",
    "G-09": "of its lot, typed in small letters, with Marisol",
    "G-10": "in the carton that was at the lab on the day of its last good test",
    "G-11": "in a carton that was back before: not tied",
    "G-12": "in the bench session in which it failed",
}
TIED = {
    "G-01": {("itself", "")},
    "G-02": {("mate", "P-1"), ("session", "A")},
    "G-03": {("mate", "P-2")},
    "G-05": {("session", "A")},
    "G-07": {("lot", "7A")},
    "G-09": {("lot", "7A")},
    "G-10": {("shipment", "L-1")},
    "G-12": {("session", "C")},
}
USABLE = {"G-03", "G-05", "G-09"}
# (holder, from, to, days of the window, days with a recorded check)
STAYS = [
    ("The shelf", date(2024, 1, 2), date(2026, 3, 4), 3, 0),
    ("Dev", date(2026, 3, 4), date(2026, 7, 1), 120, 2),
    ("Marisol", date(2026, 7, 1), date(2026, 8, 1), 32, 0),
    ("T-12", date(2026, 8, 1), date(2026, 9, 1), 32, 1),
    ("The shelf", date(2026, 9, 1), None, 9, 0),
]


def on(month, at, year=2026):
    """Noon at the site on a day."""
    return time_machine.travel(datetime(year, month, at, 16, tzinfo=UTC), tick=True)


def build(cast):
    """All of it, day by day; returns {what a session is called above: its number}."""
    lots = {"G-01": "7A", "G-07": "7A", "G-08": "7A", "G-09": " 7a"}
    with on(1, 10):
        g = {
            number: builders.glove(
                number,
                hand="L" if number == "G-01" else "R",
                lot=lots.get(number, ""),
                maker="Thole" if number == "G-08" else "Quoin",
            )
            for number in WHY
        }
        builders.gather(g["G-01"], g["G-04"], set_no="P-0")
        carton("L-0", cast, g["G-01"], g["G-11"], sent=(2025, 12, 1), back=(2025, 12, 20))
        builders.tested(*g.values(), on=date(2025, 12, 15))
    with on(2, 1):
        parted("P-0", g["G-01"], g["G-04"])
        builders.gather(g["G-01"], g["G-02"], set_no="P-1", on=date(2026, 2, 1))
    with on(3, 2):
        sessions = {
            "A": bench(cast, g["G-01"], g["G-02"], g["G-05"]),
            "B": bench(cast, g["G-06"]),
        }
    with on(3, 4):
        carton("L-1", cast, g["G-01"], g["G-10"], sent=(2026, 2, 20), back=(2026, 3, 3))
        dev = builders.holder("person", "Dev")
        builders.issued(g["G-01"], g["G-05"], to=dev)
    with on(5, 5):
        builders.happened(g["G-01"], "inspected", outcome="accept", scope="pre_use", by=cast.dev)
    with on(5, 6):
        asked = {"v": 1, "job": {}, "crew": [{"name": "Dev", "size": "10", "pk": dev.pk}], "left_out": []}
        append(job_check(by=cast.bertrand, asked=asked, truck=builders.holder("truck", "T-30")))
        left_out = {**asked, "left_out": ["G-01"]}
        append(job_check(by=cast.bertrand, asked=left_out, truck=builders.holder("truck", "T-30")))
    with on(7, 1):
        parted("P-1", g["G-01"], g["G-02"])
        builders.gather(g["G-01"], g["G-03"], set_no="P-2", on=date(2026, 7, 1))
        marisol = builders.holder("person", "Marisol")
        moved(marisol, g["G-01"])
        builders.issued(g["G-09"], to=marisol)
    with on(8, 1):
        moved(builders.holder("truck", "T-12"), g["G-01"], g["G-03"])
    with on(8, 10):
        walked(piece("G-01"), outcome="unknown", by=cast.dev)
        walked(piece("G-03"), piece("G-01", "not_seen"), outcome="unknown", by=cast.dev)
    with on(9, 1):
        moved(builders.holder(), g["G-01"])
    with on(9, 9):
        sessions["C"] = bench(cast, g["G-01"], g["G-12"], fails="G-01")
    return sessions


def bench(cast, *gloves, fails=""):
    session = day(cast.orla)
    for glove in gloves:
        typed(session, glove, "19.5" if glove.item_no == fails else "11.2", by=cast.orla)
    post(session, count=len(gloves), act=Act(cast.orla))
    return session.number


def carton(number, cast, *gloves, sent, back):
    moments = {
        "started_at": datetime(*sent, 14, tzinfo=UTC),
        "sent_at": datetime(*sent, 16, tzinfo=UTC),
        "closed_at": datetime(*back, 16, tzinfo=UTC),
    }
    made = Shipment.objects.create(
        number=number, lab=lab(), expected_on=date(*back), state="closed", started_by=cast.orla, **moments
    )
    for glove in gloves:
        entry = builders.happened(glove, "noted", note=f"in carton {number}", on=date(*sent))
        ShipmentLine.objects.create(
            shipment=made, item=glove, added_at=moments["started_at"], open=False, entry=entry
        )


def parted(set_no, *gloves):
    record_many([Draft(one, "left_set", {"set_no": set_no}) for one in gloves], by=None, via="system")


def moved(to, *gloves):
    record_many([Draft(one, "moved", {"holder": to.as_fact()}) for one in gloves], by=None, via="system")
