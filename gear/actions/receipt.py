"""Receive one item by hand, under the same rules as a row of the gear book, and complete from the start."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from uuid import UUID

from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from gear import permissions, wording
from gear.actions import gearbook, holders, receiving
from gear.actions.acting import Act, Refused, keeping_refusals
from gear.actions.committing import committed
from gear.ledger import IdReused, site_zone
from gear.models import Entry, Holder, Item
from gear.rules.gearbook import CLASSES, COLUMNS, GearRow, parse_row
from gear.rules.moments import local_day
from gear.rules.tables import Problem, Row

# What comes with an import of history has no place in a receipt: it is received now, ok and on a shelf.
NOT_HERE = ("holder_kind", "crew", "condition", "first_issued_on", "set_no")
FIELDS = tuple(name for name in COLUMNS if name not in NOT_HERE)
SENTENCES = {
    "NOT_A_FIELD": _("{field} has no place here. Leave it out."),
    "NO_SUCH_SHELF": _(
        "{field}: there is no shelf named {shown}. Choose one that is there, or leave it empty."
    ),
    "IN_BOOK": _("{field} {shown} is in the book already. Every piece has a number of its own."),
}


class BadReceipt(Refused):
    """An item that cannot be received as stated. `fields` maps the name of each field at fault to its sentence."""

    def __init__(self, problems: Iterable[Problem]):
        self.code = "BAD_RECEIPT"
        self.problems = tuple(problems)
        self.fields = self.told({})
        Exception.__init__(self, " ".join(self.fields.values()))

    def told(self, names: Mapping[str, object]) -> dict[str, str]:
        """field: its sentence, in which `names` stand for the fields as a form calls them."""
        sentences: dict[str, str] = {}
        for problem in self.problems:
            field = str(problem.values.get("field", ""))
            called = {**problem.values, "field": str(names.get(field, field))}
            sentence = wording.line_problem(Problem(0, problem.code, called), SENTENCES)
            sentences[field] = f"{sentences[field]} {sentence}" if field in sentences else sentence
        return sentences


def needed(kind: str) -> tuple[str, ...]:
    """The fields without which an item of this kind could never be judged."""
    names = ["item_no", "kind"]
    if kind in CLASSES and kind != "protector":
        names.append("class")
    names += {"glove": ["hand", "length_mm"], "sleeve": ["hand"]}.get(kind, [])
    if kind == "grounding_jumper":
        names += ["cable_size", "cable_length_m"]
    return tuple(names)


def receive_item(fields: Mapping[str, str], *, act: Act) -> Item:
    """Register one item, received today unless `received_on` says otherwise, ok and on a shelf, with its label code.

    `fields` are cells of the gear book by column (FIELDS); a blank one is "not stated". Without a shelf it goes to the
    tool room of its depot. The same `act.id` with the same fields returns the item of then. Raises NotAllowed,
    IdReused or BadReceipt; then nothing was stored but the refusal.
    """
    with keeping_refusals("receive", str(fields.get("item_no", "")), act):
        permissions.check_can(act.by, "receive")
        return committed(lambda: _received(fields, act))


def _received(fields: Mapping[str, str], act: Act) -> Item:
    row = _row(fields, act)
    if known := _known(row, act.id):
        return known
    problems = list(gearbook.against_the_book([row], act))
    if Item.objects.filter(item_no=row.item_no).exists():
        problems = [Problem(0, "IN_BOOK", {"field": "item_no", "shown": row.item_no})]
    if problems:
        raise BadReceipt(problems)
    return receiving.register([row], act=act, moment=timezone.now(), ids=[act.id])[0]


def _known(row: GearRow, entry_id: UUID) -> Item | None:
    entry = Entry.objects.select_related("item").filter(pk=entry_id).first()
    if entry is None:
        return None
    if entry.kind != "received" or entry.facts.get("row_hash") != row.fingerprint:
        raise IdReused(
            gettext("This id was used before for another entry. Nothing was recorded; send it with a new id.")
        )
    return entry.item


def _row(fields: Mapping[str, str], act: Act) -> GearRow:
    """The row of a gear book that these fields make. Raises BadReceipt with every problem at once."""
    problems = [Problem(0, "NOT_A_FIELD", {"field": name}) for name in fields if name not in FIELDS]
    cells = {name: str(value).strip() for name, value in fields.items() if name in FIELDS}
    cells = {name: value for name, value in cells.items() if value}
    today = local_day(timezone.now(), site_zone())
    cells.setdefault("received_on", today.isoformat())
    problems += put_on_shelf(cells, act)
    row, found = parse_row(Row(0, cells), today=today)
    problems += found
    known = {problem.values.get("field") for problem in problems}
    missing = [name for name in needed(cells.get("kind", "")) if name not in cells and name not in known]
    problems += [Problem(0, "MISSING", {"field": name}) for name in missing]
    if problems or row is None:
        raise BadReceipt(problems)
    return row


def put_on_shelf(cells: dict[str, str], act: Act) -> list[Problem]:
    """Fill in shelf and depot: what is stated, else the tool room of the depot stated or of the person's own."""
    cells["holder_kind"] = holders.WAITING_KIND
    named = cells.get("holder")
    if named is None:
        if act.by is not None and act.by.depot:
            cells.setdefault("depot", act.by.depot.name)
        cells["holder"] = holders.tool_room_of(cells.get("depot"))
        return []
    shelf = (
        Holder.objects.select_related("depot")
        .filter(kind=holders.WAITING_KIND, name=named, active=True)
        .first()
    )
    if shelf is None:
        return [Problem(0, "NO_SUCH_SHELF", {"field": "holder", "shown": named})]
    if shelf.depot:
        cells["depot"] = shelf.depot.name
    return []
