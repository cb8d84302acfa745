"""A book of any size for the bench, made through the ledger like any other."""

from __future__ import annotations

import hashlib
import random
from datetime import date, timedelta

from django.utils import timezone

from gear.ledger import Draft, record_many
from gear.models import Crew, Depot, GearSet, Holder, Item, ItemType
from gear.rules import codes
from gear.rules.hashing import canonical

CHUNK = 5_000
IDENTITY = {"kind": "glove", "class": "2", "size": "10", "length_mm": 360, "type": "II"}


def build(count: int) -> None:
    """`count` gloves in pairs with four entries and a label each: one pair in twenty lies on a shelf, and about one in
    sixty is overdue in somebody's hands.
    """
    rng = random.Random(1)  # noqa: S311  measurements are to be repeatable
    depot = Depot.objects.create(name="Bench depot")
    crews = Crew.objects.bulk_create([Crew(name=f"Bench crew {n}", depot=depot) for n in range(1, 101)])
    holders = Holder.objects.bulk_create(
        [
            Holder(kind="person", name=f"Bench worker {n}", crew=crews[n % 100], depot=depot)
            for n in range(2_000)
        ]
    )
    key = hashlib.sha256(canonical(IDENTITY)).hexdigest()
    kind = ItemType.objects.create(kind="glove", cls="2", size="10", length_mm=360, type="II", key=key)
    today = timezone.now().date()
    for start in range(0, count, CHUNK):
        _chunk(range(start, min(start + CHUNK, count)), kind, holders, rng, today)


def _chunk(numbers: range, kind: ItemType, holders: list[Holder], rng: random.Random, today: date) -> None:
    items = Item.objects.bulk_create(
        [
            Item(item_no=f"G-{n:07d}", item_type=kind, hand="LR"[n % 2], serial=f"S{n // 2}{'LR'[n % 2]}")
            for n in numbers
        ]
    )
    GearSet.objects.bulk_create([GearSet(set_no=f"P-{n:07d}", kind="pair", required=2) for n in numbers[::2]])
    drafts = []
    for number, item in zip(numbers, items, strict=True):
        pair = number - number % 2
        age = random.Random(pair).choices((rng.randrange(5, 170), 200), (59, 1))[0]  # noqa: S311
        tested, holder = today - timedelta(days=age), holders[pair % len(holders)]
        received = {
            "identity": {**IDENTITY, "hand": item.hand},
            "holder": {"kind": "shelf", "name": "Bench shelf"},
        }
        drafts += [
            Draft(item, "received", received, occurred_on=tested - timedelta(days=2)),
            Draft(item, "labelled", {"code": codes.new_code(rng)}, occurred_on=tested - timedelta(days=2)),
            Draft(item, "joined_set", {"set_no": f"P-{pair:07d}"}, occurred_on=tested - timedelta(days=2)),
            Draft(item, "tested", _accepted(), occurred_on=tested),
        ]
        if pair % 40:
            issued = {"holder": holder.as_fact()}
            drafts.append(Draft(item, "issued", issued, occurred_on=tested - timedelta(days=1)))
    record_many(drafts, by=None, via="system")


def _accepted() -> dict:
    return {
        "outcome": "accepted",
        "purpose": "in_service",
        "pack": "us_federal 1",
        "judged_as": {"kind": "glove", "class": "2", "length_mm": 360},
        "readings": {
            "supply": "ac",
            "applied_v": 20_000,
            "seconds": 60,
            "leakage_ma": "9.8",
            "visual": "accept",
        },
    }
