"""The rules in force: every figure that decides, with its source and how well it is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from string import ascii_lowercase
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import queries, wording
from gear.models import KIND_NAMES
from gear.rules.packs import Figure, RulesTable
from gear.views.policy import choices_in_words

STATUSES = {
    "read": gettext_lazy("read in the text of the source"),
    "memory": gettext_lazy("from memory, no text seen"),
    "conflict": gettext_lazy("sources differ: the stricter counts"),
    "computed": gettext_lazy("computed from values that were read"),
    "inference": gettext_lazy("reasoned, no text seen"),
    "unverified": gettext_lazy("no value asserted"),
}
# Tables of one figure under two keys read best as a grid of the second key across.
GRIDS = frozenset({"glove_current", "water_level"})


@dataclass(frozen=True)
class Cell:
    """What stands in a cell: a key of the row, or a figure with the letters of its notes."""

    text: str
    mark: str = ""
    confirm: bool = False
    swatch: str = ""


@dataclass(frozen=True)
class Note:
    """Where figures come from: `mark` is the letter beside them."""

    mark: str
    source: str
    status: str
    confirm: bool


@dataclass(frozen=True)
class Table:
    """A table ready to print."""

    name: str
    title: str
    note: str
    headings: Sequence[str]
    rows: Sequence[Sequence[Cell]]
    notes: Sequence[Note]


def rules_in_force(request: HttpRequest) -> HttpResponse:
    """The rule pack and the policy of a day, today unless another is asked for."""
    typed = request.GET.get("as_of", "").strip()
    try:
        asked, problem = queries.question_in(typed), None
    except queries.BadQuestion as error:
        asked, problem = queries.question(), error
    rules = queries.rules_for(asked)
    page: dict[str, Any] = {
        "title": _("Rules in force"),
        "typed": typed,
        "problem": problem,
        "day": wording.day(asked.as_of),
        "today": not typed,
        "refusal": rules.refusal,
        "pack": rules.pack,
        "choices": choices_in_words(rules.policy) if rules.pack else [],
        "tables": [] if problem or rules.pack is None else [laid_out(one) for one in rules.pack.tables()],
    }
    return render(request, "gear/rules.html", page, status=400 if problem else 200)


class _Notes:
    """The sources of one table, each with a letter in order of appearance."""

    def __init__(self) -> None:
        self.found: dict[tuple[str, str, str, bool], str] = {}

    def mark(self, figure: Figure) -> str:
        key = (figure.source, figure.clause, figure.status, figure.confirm)
        return self.found.setdefault(key, letters(len(self.found)))

    def listed(self) -> list[Note]:
        return [
            Note(
                mark, f"{source}: {clause}" if clause else source, str(STATUSES.get(status, status)), confirm
            )
            for (source, clause, status, confirm), mark in self.found.items()
        ]


def letters(place: int) -> str:
    """a to z, then aa, ab ..."""
    first, last = divmod(place, len(ascii_lowercase))
    return (ascii_lowercase[first - 1] if first else "") + ascii_lowercase[last]


def laid_out(table: RulesTable) -> Table:
    notes = _Notes()
    headings, rows = _grid(table) if table.name in GRIDS else (list(table.headings), list(table.rows))
    cells = [[_cell(table.name, value, notes) for value in row] for row in rows]
    return Table(table.name, table.title, table.note, headings, cells, notes.listed())


def _grid(table: RulesTable) -> tuple[list[str], list[list[Figure | str]]]:
    """The rows of a table of two keys and one figure, laid out with the second key across."""
    across = list(dict.fromkeys(str(row[1]) for row in table.rows))
    down: dict[str, dict[str, Figure | str]] = {}
    for first, second, figure in table.rows:
        down.setdefault(str(first), {})[str(second)] = figure
    unit = " mm" if table.headings[1].endswith(" mm") else ""
    headings = [
        table.headings[0],
        *(f"{name.upper() if name in ('ac', 'dc') else name}{unit}" for name in across),
    ]
    return headings, [[first, *(found.get(name, "") for name in across)] for first, found in down.items()]


def _cell(table: str, value: Figure | str, notes: _Notes) -> Cell:
    if isinstance(value, str):
        return Cell(_key(table, value))
    return Cell(
        _shown(value.value), notes.mark(value), value.confirm, str(value.value) if table == "colour" else ""
    )


def _key(table: str, value: str) -> str:
    """The key of a row in words; the codes of reasons are what programs read, and stay."""
    if value in KIND_NAMES:
        return str(KIND_NAMES[value])
    return value if table == "block" else value.replace("_", " ")


def _shown(value: Any) -> str:
    if value is None:
        return "–"
    if isinstance(value, int) and not isinstance(value, bool):
        return f"{value:,}"
    return f"{value:f}" if isinstance(value, Decimal) else str(value)
