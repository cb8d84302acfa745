"""Rows that many tests begin with: made once by the code that makes them, and put back row by row from then on.

Making the gear of one Monday takes a second, because every row of it goes through the ledger; putting it back takes ten
milliseconds. What is put back has the keys it was made with, so it only fits where nothing stands in its place.
"""

# ruff: noqa: S608 - the tables name themselves
import copy
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

from django.apps import apps
from django.db import IntegrityError, connection, transaction
from django.db.models import DateField, JSONField, Model, TimeField

Row = tuple[Any, ...]


@dataclass(frozen=True)
class Table:
    """`read` and `marks`: how each column is read and written as the database itself holds it. The first is the key."""

    name: str
    columns: list[str]
    read: list[str]
    marks: list[str]

    def insert(self) -> str:
        return f"INSERT INTO {self.name} ({', '.join(self.columns)}) VALUES ({', '.join(self.marks)})"

    def update(self) -> str:
        pairs = [f"{column} = {mark}" for column, mark in zip(self.columns, self.marks, strict=True)]
        return f"UPDATE {self.name} SET {', '.join(pairs)} WHERE {self.columns[0]} = %s"


@dataclass(frozen=True)
class Kept:
    """What was made, the rows that it added and those that it changed."""

    made: Any
    added: list[tuple[str, list[Row]]]
    changed: list[tuple[str, list[Row]]]


_KEPT: dict[str, Kept] = {}


def replayed(name: str, make: Callable[[], Any], *, fits: Callable[[Any], bool] = lambda made: True) -> Any:
    """What `make` gives, with its rows in the database. `fits` tells whether what was made once fits this test."""
    kept = _KEPT.get(name)
    if kept is None:
        before = _all_rows()
        made = make()
        _KEPT[name] = _kept(copy.deepcopy(made), before, _all_rows())
        return made
    if not fits(kept.made):
        return make()
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            for statement, rows in kept.added + kept.changed:
                cursor.executemany(statement, rows)
    except IntegrityError:  # something stands in its place
        return make()
    return copy.deepcopy(kept.made)


@cache
def _tables() -> list[Table]:
    models = [model for model in apps.get_models(include_auto_created=True) if model._meta.managed]
    return [_table(model) for model in models]


def _table(model: type[Model]) -> Table:
    fields = sorted(model._meta.concrete_fields, key=lambda field: not field.primary_key)
    columns = [f'"{field.column}"' for field in fields]
    read, marks = list(columns), ["%s"] * len(columns)
    for at, field in enumerate(fields):
        if connection.vendor == "postgresql" and isinstance(field, JSONField):
            read[at], marks[at] = f"{columns[at]}::text", "%s::jsonb"
        elif connection.vendor == "sqlite" and isinstance(field, DateField | TimeField):
            read[at] = f"{columns[at]} || ''"  # as text: nothing is made of it on the way
    return Table(f'"{model._meta.db_table}"', columns, read, marks)


def _all_rows() -> dict[str, dict[Any, Row]]:
    """Every row of every table by its key."""
    found = {}
    with connection.cursor() as cursor:
        for table in _tables():
            cursor.execute(f"SELECT {', '.join(table.read)} FROM {table.name}")
            found[table.name] = {row[0]: row for row in cursor.fetchall()}
    return found


def _kept(made: Any, before: dict[str, dict[Any, Row]], after: dict[str, dict[Any, Row]]) -> Kept:
    added, changed = [], []
    for table in _tables():
        was, now = before[table.name], after[table.name]
        if new := [row for key, row in now.items() if key not in was]:
            added.append((table.insert(), new))
        if other := [(*row, key) for key, row in now.items() if key in was and was[key] != row]:
            changed.append((table.update(), other))
    return Kept(made, added, changed)
