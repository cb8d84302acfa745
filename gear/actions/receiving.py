"""Take gear into the book: what it is, where it was, what was said of it, as entries of its history."""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from hashlib import sha256
from types import SimpleNamespace
from typing import Any, cast
from uuid import UUID, uuid4

from gear.actions.acting import Act
from gear.actions.holders import Place, find_or_make, stated_place, waiting_place
from gear.actions.joining import form_sets
from gear.ledger import Draft, record_many
from gear.ledger.states import batches
from gear.models import Item, ItemType, Label
from gear.rules import codes
from gear.rules.entries import USABLE_HOLDERS
from gear.rules.gearbook import GearRow
from gear.rules.hashing import canonical

CHUNK = 1000
# What the book says of condition, as the entry that makes it so.
CONDITION_ENTRIES = {
    "held": "held",
    "rejected": "rejected",
    "destroyed": "destroyed",
    "lost": "lost",
    "needs_cleaning": "needs_cleaning",
    "out_for_test": "sent_for_test",
    "out_for_repair": "sent_for_repair",
}
STATED_IN_BOOK = "stated in the gear book"
_OWN_COLUMNS = ("serial", "hand", "lot", "made_on")


def register(
    rows: Sequence[GearRow],
    *,
    act: Act,
    moment: datetime,
    ids: Sequence[UUID] | None = None,
    facts: Mapping[str, Any] | None = None,
    waiting: Place | None = None,
) -> list[Item]:
    """Make the items of these rows with everything they need, inside the caller's transaction; in order of the rows.

    The rows were checked; no item number may be in the book yet. `moment` stands for what the book does not date;
    `ids` are those of the `received` entries where the client made them, `facts` what each of them states besides,
    `waiting` where what is in hands now was taken in, if not over the counter of the tool room.
    The number of queries grows with batches, not with rows.
    """
    find_or_make(place for row in rows for place in places_of(row, waiting))
    types = _find_or_make_types(rows)
    items = Item.objects.bulk_create([_item(row, types[type_key(row)]) for row in rows], batch_size=500)
    form_sets(rows, act=act, moment=moment)
    labels = new_codes(len(items))
    ids = ids or [uuid4() for _row in rows]
    for start in range(0, len(items), CHUNK):
        chunk = zip(rows[start : start + CHUNK], items[start:], labels[start:], ids[start:], strict=False)
        drafts = [
            draft
            for row, item, code, entry_id in chunk
            for draft in drafts_of(
                row, item, code=code, moment=moment, entry_id=entry_id, facts=facts or {}, waiting=waiting
            )
        ]
        record_many(drafts, by=act.by, via=act.via, device=act.device)
    return items


def places_of(row: GearRow, waiting: Place | None = None) -> list[Place]:
    """Every holder that the history of the row names."""
    return [waiting or waiting_place(row), stated_place(row)] if _waited(row) else [stated_place(row)]


def _waited(row: GearRow) -> bool:
    """Whether the item lay on a shelf before it came to the stated holder."""
    return row.first_issued_on is not None or row.holder_kind in USABLE_HOLDERS


def received_on(row: GearRow) -> date | None:
    """The day of receipt as far as the row tells it; None means the moment of registering."""
    return row.received_on or row.made_on or row.first_issued_on


def drafts_of(
    row: GearRow,
    item: Item,
    *,
    code: str,
    moment: datetime,
    entry_id: UUID,
    facts: Mapping[str, Any],
    waiting: Place | None = None,
) -> list[Draft]:
    """The history that a row tells: received, labelled, in its set, issued, and a side condition from `moment` on."""
    receipt = _when(received_on(row), moment)
    first = (waiting or waiting_place(row)) if _waited(row) else stated_place(row)
    received: dict[str, Any] = {
        "identity": row.identity,
        "holder": first.as_fact(),
        "row_hash": row.fingerprint,
        **facts,
    }
    if row.received_on is None and row.made_on is None:
        received["date_stated"] = False
    drafts = [
        Draft(item, "received", received, **receipt, id=entry_id),
        Draft(item, "labelled", {"code": code}, occurred_at=moment),
    ]
    if row.set_no:
        drafts.append(Draft(item, "joined_set", {"set_no": row.set_no}, **receipt))
    if _waited(row):
        drafts.append(_issue(row, item, receipt, moment))
    if row.condition != "ok":
        drafts.append(_condition(row, item, moment))
    return drafts


def _when(day: date | None, moment: datetime) -> dict[str, Any]:
    return {"occurred_at": moment} if day is None else {"occurred_on": day}


def _issue(row: GearRow, item: Item, receipt: dict[str, Any], moment: datetime) -> Draft:
    facts: dict[str, Any] = {"holder": stated_place(row).as_fact()}
    if row.first_issued_on is None:
        # In somebody's hands since nobody knows when: it never gets the shelf allowance.
        return Draft(item, "issued", facts | {"first_issue_known": False}, **receipt)
    if row.holder_kind not in USABLE_HOLDERS:
        facts["first_issue"] = True
    return Draft(item, "issued", facts, **_when(row.first_issued_on, moment))


def _condition(row: GearRow, item: Item, moment: datetime) -> Draft:
    facts = {"reason": STATED_IN_BOOK}
    if row.condition == "destroyed":
        facts["witness"] = STATED_IN_BOOK
    return Draft(item, CONDITION_ENTRIES[row.condition], facts, occurred_at=moment)


def type_values(row: GearRow) -> dict[str, Any]:
    """The values of the columns of ItemType; blank words where a row states none."""
    numbers = ("length_mm", "rated_kv", "cable_length_m")
    return {
        name: getattr(row, name) if name in numbers else getattr(row, name) or "" for name in ItemType.SHARED
    }


def type_key(row: GearRow) -> str:
    """The hash by which a type is found again: of all shared values together, for a model's name is not unique."""
    plain = {
        name: format(value.normalize(), "f") if isinstance(value, Decimal) else value
        for name, value in type_values(row).items()
    }
    return sha256(canonical(plain)).hexdigest()


def restate(item: Item, identity: Mapping[str, Any]) -> None:
    """Bring the columns by which an item is found into line with what its record now says it is."""
    numbers = {
        name: Decimal(identity[name]) if identity.get(name) else None
        for name in ("rated_kv", "cable_length_m")
    }
    known = {**dict.fromkeys(ItemType.SHARED), **identity, **numbers, "cls": identity.get("class")}
    row = cast(GearRow, SimpleNamespace(**known))
    item.item_type = _find_or_make_types([row])[type_key(row)]
    for name in ("serial", "hand", "lot"):
        setattr(item, name, identity.get(name) or "")
    item.made_on = date.fromisoformat(identity["made_on"]) if identity.get("made_on") else None
    item.save(update_fields=["item_type", *_OWN_COLUMNS])


def _find_or_make_types(rows: Iterable[GearRow]) -> dict[str, ItemType]:
    wanted = {type_key(row): row for row in rows}
    found = _types(wanted)
    ItemType.objects.bulk_create(
        [ItemType(key=key, **type_values(row)) for key, row in wanted.items() if key not in found],
        ignore_conflicts=True,
        batch_size=200,
    )
    return found if found.keys() == wanted.keys() else _types(wanted)


def _types(keys: Iterable[str]) -> dict[str, ItemType]:
    return {row.key: row for batch in batches(sorted(keys)) for row in ItemType.objects.filter(key__in=batch)}


def _item(row: GearRow, item_type: ItemType) -> Item:
    own = {name: getattr(row, name) or "" for name in _OWN_COLUMNS if name != "made_on"}
    return Item(item_no=row.item_no, item_type=item_type, made_on=row.made_on, **own)


def new_codes(count: int) -> list[str]:
    """So many label codes that nobody can guess and no label bears."""
    rng = secrets.SystemRandom()
    made: dict[str, None] = {}
    while len(made) < count:
        fresh = [codes.new_code(rng) for _one in range(count - len(made))]
        found = [Label.objects.filter(code__in=batch) for batch in batches(fresh)]
        taken = {code for labels in found for code in labels.values_list("code", flat=True)}
        made.update(dict.fromkeys(code for code in fresh if code not in taken))
    return list(made)
