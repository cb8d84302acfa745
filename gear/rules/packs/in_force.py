"""The tables of a pack laid out for the page "Rules in force"."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from gear.rules.packs.figures import Figure
from gear.rules.packs.schema import TABLES


@dataclass(frozen=True)
class RulesTable:
    """One readable table. Cells of a key column are text; every other cell is a Figure, its value ready to print.

    Unpacks as (title, note, headings, rows).
    """

    name: str
    title: str
    note: str
    headings: tuple[str, ...]
    rows: tuple[tuple[Figure | str, ...], ...]

    def __iter__(self) -> Any:
        return iter((self.title, self.note, self.headings, self.rows))


def tables_in_force(
    data: Mapping[str, Mapping[str, Any]], figure_of: Callable[[Mapping[str, Any], str], Figure]
) -> Sequence[RulesTable]:
    """Every table in the order of the schema, its columns in the order of the schema."""
    return tuple(_laid_out(name, table, figure_of) for name, table in data.items())


def _laid_out(
    name: str, table: Mapping[str, Any], figure_of: Callable[[Mapping[str, Any], str], Figure]
) -> RulesTable:
    spec = TABLES[name]
    silent = {second for _, second in spec.either}
    shown = [column for column in spec.columns if column not in spec.key and column not in silent]
    rows = []
    for row in table["rows"]:
        keys = tuple(str(row[column]) for column in spec.key)
        if shown:
            rows.append(keys + tuple(_readable(figure_of(row, column)) for column in shown))
        else:
            # A table of sources alone (the reasons): the source itself is the figure.
            rows.append((*keys, Figure(row["clause"], row["source"], row["clause"], row["status"])))
    headings = tuple(_heading(column) for column in (*spec.key, *(shown or ["clause"])))
    return RulesTable(name, table["title"], table["note"], headings, tuple(rows))


def _readable(figure: Figure) -> Figure:
    value: Any = figure.value
    if isinstance(value, Mapping):
        value = f"{value['count']} {value['unit']}"
    elif isinstance(value, bool):
        value = "yes" if value else "no"
    elif isinstance(value, tuple):
        value = ", ".join(word.replace("_", " ") for word in value)
    return Figure(value, figure.source, figure.clause, figure.status, figure.copy_to_confirm)


UNITS = {"v": "V", "mm": "mm", "ka": "kA", "a": "A", "mohm": "milliohm"}


def _heading(column: str) -> str:
    words = [UNITS.get(word, word) for word in column.split("_")]
    words[0] = words[0] if words[0] in UNITS.values() else words[0].capitalize()
    return " ".join(words)
