"""Gear for tests, registered as the service registers it: through gear.ledger, one entry for everything that happens.

    left, right = pair()                                   # two gloves, received and mated on RECEIVED_ON
    tested(left, right, on=date(2026, 3, 2))               # accepted in-service tests
    issued(left, right, on=date(2026, 3, 4), to=holder("person", "Dev"))

Every builder takes keywords for what a test is about and chooses the rest. Days are calendar days of the site.
Names and numbers repeat safely: depot, crew, holder and person return the row that is there already.
"""

# ruff: noqa: PT028 - `tested` is a builder, not a test
from __future__ import annotations

import hashlib
import itertools
import json
from datetime import date
from typing import Any

from django.utils import timezone

from gear.ledger import Draft, record_many
from gear.models import Crew, Depot, Entry, GearSet, Holder, Item, ItemType, User
from gear.rules.entries import IDENTITY

RECEIVED_ON = date(2024, 1, 2)
PACK = "us_federal 1"
JUDGED_AS = {"grounding_jumper": ("kind", "cable_size", "cable_length_m")}
_COLUMNS = {"cls": "class"}
_numbers = itertools.count(1)


def depot(name: str = "Harbour depot") -> Depot:
    return Depot.objects.get_or_create(name=name)[0]


def crew(name: str = "Crew 7", *, of: Depot | None = None) -> Crew:
    return Crew.objects.get_or_create(name=name, defaults={"depot": of or depot()})[0]


def holder(kind: str = "shelf", name: str | None = None, **columns: Any) -> Holder:
    """A shelf of the depot, or whoever is named: `holder("person", "Dev")`, `holder("truck", "T-01")`."""
    if kind in ("person", "truck", "crew"):
        columns.setdefault("crew", crew())
    columns.setdefault("depot", depot())
    return Holder.objects.get_or_create(kind=kind, name=name or f"The {kind}", defaults=columns)[0]


def person(role: str, username: str | None = None, **columns: Any) -> User:
    """Somebody with a role, who cannot sign in; take the `cast` fixture where passwords matter."""
    return User.objects.get_or_create(username=username or f"a-{role}", defaults={"role": role, **columns})[0]


def item(
    kind: str,
    item_no: str | None = None,
    *,
    at: Holder | None = None,
    received_on: date = RECEIVED_ON,
    label: str = "",
    by: User | None = None,
    **columns: Any,
) -> Item:
    """An item received on a day, at a shelf unless `at` says where, with a label code where one is given.

    `columns` are those of ItemType and Item, and `marked_expiry_on`.
    """
    marked_expiry_on = columns.pop("marked_expiry_on", None)
    shared = {"kind": kind, **{name: columns.pop(name) for name in ItemType.SHARED if name in columns}}
    key = hashlib.sha256(json.dumps(shared, sort_keys=True, default=str).encode()).hexdigest()
    item_type = ItemType.objects.get_or_create(key=key, defaults=shared)[0]
    made = Item.objects.create(item_no=item_no or f"G-{next(_numbers):05d}", item_type=item_type, **columns)
    stated = {_COLUMNS.get(name, name): value for name, value in {**shared, **columns}.items()}
    identity = {**dict.fromkeys(IDENTITY), **stated, "marked_expiry_on": marked_expiry_on}
    identity = {name: _plain(value) for name, value in identity.items()}
    facts = {"identity": identity, "holder": (at or holder()).as_fact()}
    drafts = [Draft(made, "received", facts, occurred_on=received_on)]
    if label:
        drafts.append(Draft(made, "labelled", {"code": label}, occurred_on=received_on))
    record_many(drafts, by=by, via="system")
    return made


def _plain(value: Any) -> Any:
    if isinstance(value, date):
        return value.isoformat()
    return value if value is None or isinstance(value, int) else str(value)


def glove(item_no: str | None = None, **columns: Any) -> Item:
    """A class 2 left glove of size 10 and 360 mm, unless told otherwise."""
    return item("glove", item_no, **{"cls": "2", "hand": "L", "size": "10", "length_mm": 360, **columns})


def blanket(item_no: str | None = None, **columns: Any) -> Item:
    """A class 2 blanket: an item that is used alone."""
    return item("blanket", item_no, **{"cls": "2", **columns})


def jumper(item_no: str | None = None, **columns: Any) -> Item:
    """A 2/0 grounding jumper of 3 m with clamps and ferrules of grade 5."""
    usual = {"cable_size": "2/0", "cable_length_m": "3", "clamp_grade": "5", "ferrule_grade": "5"}
    return item("grounding_jumper", item_no, **{**usual, **columns})


def pair(set_no: str | None = None, *, on: date = RECEIVED_ON, **columns: Any) -> tuple[Item, Item]:
    """A left and a right glove, mated."""
    left, right = glove(**{**columns, "hand": "L"}), glove(**{**columns, "hand": "R"})
    gather(left, right, set_no=set_no, kind="pair", on=on)
    return left, right


def grounding_set(count: int = 3, *, set_no: str | None = None, **columns: Any) -> tuple[Item, ...]:
    """Jumpers that form one grounding set."""
    jumpers = tuple(jumper(**columns) for _one in range(count))
    gather(*jumpers, set_no=set_no, kind="grounding")
    return jumpers


def gather(
    *items: Item,
    set_no: str | None = None,
    kind: str = "pair",
    required: int | None = None,
    on: date = RECEIVED_ON,
) -> GearSet:
    """A set formed of the items; complete with as many as there are, unless `required` says otherwise."""
    number, count = set_no or f"S-{next(_numbers):05d}", required or len(items)
    gear_set = GearSet.objects.create(set_no=number, kind=kind, required=count)
    formed = Draft(
        gear_set, "set_formed", {"set_no": number, "kind": kind, "required": count}, occurred_on=on
    )
    joined = [Draft(one, "joined_set", {"set_no": number}, occurred_on=on) for one in items]
    record_many([formed, *joined], by=None, via="system")
    return gear_set


def tested(
    *items: Item,
    on: date | None = None,
    outcome: str = "accepted",
    purpose: str = "in_service",
    by: User | None = None,
    **facts: Any,
) -> list[Entry]:
    """A test of each item on a day (today when none is given), with its outcome already judged."""
    drafts = []
    for one in items:
        identity = one.entry_set.get(kind="received").facts["identity"]
        names = JUDGED_AS.get(identity["kind"], ("kind", "class", "length_mm"))
        judged_as = {name: identity[name] for name in names}
        stated = {
            "outcome": outcome,
            "purpose": purpose,
            "pack": PACK,
            "judged_as": judged_as,
            "readings": {},
        }
        drafts.append(Draft(one, "tested", {**stated, **facts}, occurred_on=on or today()))
    return record_many(drafts, by=by, via="system")


tested.__test__ = False  # its name begins like that of a test


def issued(
    *items: Item, to: Holder | None = None, on: date | None = None, by: User | None = None
) -> list[Entry]:
    """Each item put in somebody's hands on a day (today when none is given)."""
    facts = {"holder": (to or holder("person", "Dev")).as_fact()}
    return record_many(
        [Draft(one, "issued", facts, occurred_on=on or today()) for one in items], by=by, via="system"
    )


def happened(one: Item, kind: str, *, on: date | None = None, by: User | None = None, **facts: Any) -> Entry:
    """Any other entry about an item: `happened(glove, "held", reason="odd smell", by=dev)`."""
    return record_many([Draft(one, kind, facts, occurred_on=on or today())], by=by, via="system")[0]


def today() -> date:
    """The site's calendar day now."""
    return timezone.localdate()
