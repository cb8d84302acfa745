"""Histories of items for tests of the rules: entries as the rules see them, without a database.

    facts = folded(received("glove", hand="L"), tested(on=MARCH), issued(on=APRIL), held(on=MAY))

Every entry counts on its day as the ledger places it: the good at 00:00, the bad at 23:59:59. Each is recorded when it
happened, in the order made, unless `recorded_at` says otherwise.
"""

# ruff: noqa: PT028 - `tested` makes an entry, it is not a test
from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from gear.rules import entries, fold, moments, packs, policy
from gear.rules.entries import IDENTITY, VERSION, Line
from gear.rules.fold import ItemFacts
from gear.rules.readiness import Rules

ZONE = ZoneInfo("UTC")
RECEIVED_ON = date(2015, 6, 1)
SHELF = {"kind": "shelf", "name": "Shelf 1", "crew": None, "depot": "Harbour depot"}
DEV = {"kind": "person", "name": "Dev", "crew": "Crew 7", "depot": "Harbour depot"}
TRUCK = {"kind": "truck", "name": "T-01", "crew": "Crew 7", "depot": "Harbour depot"}
LAB = {"kind": "lab", "name": "The lab", "crew": None, "depot": None}
GLOVE = {"kind": "glove", "class": "2", "hand": "L", "size": "10", "length_mm": 360}
JUDGED_AS = {"kind": "glove", "class": "2", "length_mm": 360}
FEDERAL = Rules(packs.load("us_federal"), policy.from_toml())
_ids = itertools.count(1)


def entry(
    kind: str,
    /,
    *,
    on: date = RECEIVED_ON,
    at: datetime | None = None,
    recorded_at: datetime | None = None,
    id: UUID | None = None,  # noqa: A002 - what a line calls it
    corrects: UUID | None = None,
    **facts,
) -> Line:
    """One entry on a day, or at a moment; its facts are checked as the ledger checks them."""
    number = next(_ids)
    stated = {"v": VERSION, **facts}
    subject = "set" if kind == "set_formed" else "item"
    entries.check(kind, stated, subject=subject)
    early = entries.sorts_early(kind, stated)
    moment = at or (moments.start_of_day(on, ZONE) if early else moments.late_in_day(on, ZONE))
    return Line(
        id or UUID(int=number),
        kind,
        moment,
        moments.local_day(moment, ZONE),
        recorded_at or datetime(2015, 6, 1, tzinfo=UTC) + timedelta(seconds=number),
        "orla",
        stated,
        corrects,
        "moment" if at else "day",
    )


def received(
    kind: str = "glove", *, holder: dict = SHELF, on: date = RECEIVED_ON, stated: bool = True, **identity
):
    """Receipt of an item; a class 2 left glove of 360 mm unless told otherwise."""
    known = {**(GLOVE if kind == "glove" else {"kind": kind, "class": "2"}), **identity}
    dated = {} if stated else {"date_stated": False}
    return entry("received", on=on, identity={**dict.fromkeys(IDENTITY), **known}, holder=holder, **dated)


def tested(outcome: str = "accepted", *, purpose: str = "in_service", judged_as: dict = JUDGED_AS, **given):
    return entry(
        "tested",
        outcome=outcome,
        purpose=purpose,
        pack="us_federal 1",
        judged_as=judged_as,
        readings={},
        **given,
    )


tested.__test__ = False  # its name begins like that of a test


def issued(*, to: dict = DEV, **given):
    return entry("issued", holder=to, **given)


def moved(*, to: dict, **given):
    return entry("moved" if to["kind"] in entries.USABLE_HOLDERS else "returned", holder=to, **given)


def corrected(wrong: Line, to: Line | None, **given):
    """A correction: `to` is the entry as it should have been, None withdraws it."""
    replacement = to and {
        "kind": to.kind,
        "facts": to.facts,
        "occurred_at": to.occurred_at.isoformat(),
        "occurred_on": to.occurred_on.isoformat(),
        "precision": to.precision,
    }
    return entry("corrected", corrects=wrong.id, reason="typed wrong", replacement=replacement, **given)


def folded(*lines: Line, as_of: date | None = None, known_at: datetime = moments.FOR_EVER) -> ItemFacts:
    """The facts at the end of a day, or of everything."""
    as_of_at = moments.end_of_day(as_of, ZONE) if as_of else moments.FOR_EVER
    return fold.fold("G-1", lines, as_of_at=as_of_at, known_at=known_at)


def mate_of(facts: ItemFacts) -> ItemFacts:
    """The other hand of the same pair, with the same history."""
    other = {**facts.identity, "hand": "R" if facts.identity.get("hand") == "L" else "L"}
    return replace(facts, item_no="G-2", identity=other)
