"""Is this pack complete, sourced and free of overlap? Nothing is filled in: what is not there refuses the pack."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from gear.rules.packs.figures import PackRefused
from gear.rules.packs.schema import ROW_COLUMNS, TABLES, TableSpec, is_text

Row = Mapping[str, Any]


def row_key(spec: TableSpec, row: Row) -> tuple[object, ...]:
    """The values that name a row of its table."""
    return tuple(row.get(column) for column in spec.key)


def check_pack(file_name: str, pack: Mapping[str, Any]) -> None:
    """Raise PackRefused unless every table, row, column and key of the schema is there exactly once."""
    for name in pack:
        if name not in TABLES and name not in ("name", "version", "title"):
            raise PackRefused(f"{file_name}: unknown table or field {name!r}. Remove it or correct its name.")
    for name, spec in TABLES.items():
        if name not in pack:
            raise PackRefused(f"{file_name}: table [{name}] is missing. Put back the file as it was shipped.")
        _check_table(file_name, name, spec, pack[name])
    _check_lengths(file_name, pack["glove_length"]["rows"])


def _check_table(file_name: str, name: str, spec: TableSpec, table: Mapping[str, Any]) -> None:
    where = f"{file_name}: table [{name}]"
    for field in ("title", "note"):
        if not is_text(table.get(field)):
            raise PackRefused(f"{where} has no {field}.")
    seen: set[tuple[object, ...]] = set()
    for number, row in enumerate(table.get("rows", []), start=1):
        check_row(f"{where} row {number}", spec, row)
        key = row_key(spec, row)
        if key in seen:
            raise PackRefused(f"{where} row {number} repeats {_words(key)}. Each row may stand once.")
        seen.add(key)
    for key in spec.required:
        if key not in seen:
            raise PackRefused(f"{where} has no row for {_words(key)}.")


def check_row(where: str, spec: TableSpec, row: Row) -> None:
    """Raise PackRefused unless the row has every column of its table, each with a value of the right sort."""
    allowed = {**spec.columns, **ROW_COLUMNS}
    optional = {column for pair in spec.either for column in pair}
    for column, value in row.items():
        if column == "confirm" and value is True:
            continue
        if column not in allowed:
            raise PackRefused(f"{where}: unknown column {column!r}.")
        if not allowed[column](value):
            raise PackRefused(f"{where}: {column} cannot be {value!r}.")
    for column in allowed:
        if column not in row and column not in optional:
            raise PackRefused(f"{where}: {column} is missing.")
    for first, second in spec.either:
        if (first in row) == (second in row):
            raise PackRefused(f"{where}: give exactly one of {first} and {second}.")


def _check_lengths(file_name: str, rows: Sequence[Row]) -> None:
    """Each tabulated length covers from_mm up to the next from_mm; two that reach into each other decide nothing."""
    reached = 0
    for row in rows:
        if not reached < row["from_mm"] <= row["column_mm"]:
            raise PackRefused(
                f"{file_name}: table [glove_length] column {row['column_mm']} mm begins at {row['from_mm']} mm and "
                "overlaps another column. Each column must begin after the one before it ends."
            )
        reached = row["column_mm"]


def _words(key: tuple[object, ...]) -> str:
    return ", ".join(str(part) for part in key)
