"""Rows of any table as JSON that makes the same row again, and what of a row never leaves the installation.

A row is told under the names of its columns as a seal hashes it (gear.ledger.seals): moments in UTC, dates and figures
as text, a person under `by` and a piece under `item` by name, every other reference by its key. A column of bytes is
told as the name of a file. Entries are told as `payload` has them. Tables made later are told without a word here:
what may not leave is named on its model, as SECRETS (columns) or LEFT_OUT (the reason why a whole table stays).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.apps import apps
from django.db import connections, models
from django.utils.dateparse import parse_datetime

from gear.ledger.chain import payload
from gear.ledger.seals import dated_by, plain
from gear.models import Entry, GearSet, Item, ItemState, SiteHead, User
from gear.models.evidence import Sealed

APPS = ("gear", "inspections", "reports")
# Tables of the framework; those of ours say it themselves.
LEFT_OUT = {
    "admin.logentry": "never written: the admin site is for looking",
    "auth.group": "not used: a person has one role",
    "auth.permission": "the same in every installation, made by migrate",
    "contenttypes.contenttype": "the same in every installation, made by migrate",
    "sessions.session": "who is signed in at this moment",
}
BY_NAME: Mapping[str, tuple[type[models.Model], str]] = {"by": (User, "username"), "item": (Item, "item_no")}
CHUNK = 2000


class WrongRow(ValueError):
    """A row that makes no row of its table: a column is missing, unknown, or holds what it cannot."""


@dataclass(frozen=True)
class Table:
    """How the rows of one model are told. `dated` names what dates them where a seal covers them."""

    model: type[models.Model]
    dated: str | None

    @property
    def name(self) -> str:
        return self.model._meta.label_lower

    @property
    def key(self) -> str:
        """The column by which rows are told apart."""
        return self.model._meta.pk.name

    @cached_property
    def columns(self) -> dict[str, models.Field]:
        """name: column of everything that is told."""
        secret: frozenset[str] = getattr(self.model, "SECRETS", frozenset())
        return {field.name: field for field in self.model._meta.concrete_fields if field.name not in secret}

    @property
    def files(self) -> list[str]:
        """The columns of bytes, which are told as files of their own."""
        return [name for name, field in self.columns.items() if isinstance(field, models.BinaryField)]

    @property
    def has_media(self) -> bool:
        """Whether a row names a stored file by `path` and its SHA-256."""
        return {"path", "sha256"} <= self.columns.keys()

    @property
    def by_item(self) -> bool:
        """Whether each row is about one item."""
        return "item" in self.columns and self.by_name("item")

    def by_name(self, name: str) -> bool:
        """Whether a column is told by the name of whom or what it refers to, as in a leaf of a seal."""
        field = self.columns[name]
        return name in BY_NAME and field.related_model is BY_NAME[name][0]

    def told(self, rows: models.QuerySet | None = None) -> Iterator[dict[str, Any]]:
        """The rows, in the order in which seals take them or by key; in chunks, one statement in all."""
        rows = self.model._base_manager.all() if rows is None else rows
        files = set(self.files)
        names = [name for name in self.columns if name not in files]
        asked = [
            f"{name}__{BY_NAME[name][1]}" if self.by_name(name) else self.columns[name].attname
            for name in names
        ]
        order = (self.dated, "pk") if self.dated else ("pk",)
        for values in rows.order_by(*order).values_list("pk", *asked).iterator(chunk_size=CHUNK):
            row = dict(zip(names, map(plain, values[1:]), strict=True))
            row |= {name: self.file_name(values[0], name) for name in files}
            for name in BY_NAME:
                if name in row and row[name] is None and self.by_name(name):
                    row[name] = ""  # as a leaf has it
            yield row

    def file_name(self, key: Any, column: str) -> str:
        return f"content/{self.name}/{key}.{column}"

    def contents(self, rows: models.QuerySet | None = None) -> Iterator[tuple[str, bytes]]:
        """(name of the file, bytes) of every column of bytes that is not empty."""
        rows = self.model._base_manager.all() if rows is None else rows
        for column in self.files:
            for key, value in rows.order_by("pk").values_list("pk", column).iterator(chunk_size=5):
                if value is not None:
                    yield self.file_name(key, column), bytes(value)


def tables() -> list[Table]:
    """Every table that is told: the sealed ones as their leaves stand, then the others by name."""
    sealed = dated_by()
    others = sorted(
        (one for one in apps.get_models() if one not in sealed and reason_left_out(one) is None),
        key=lambda one: one._meta.label_lower,
    )
    return [Table(model, dated) for model, dated in sealed.items()] + [Table(one, None) for one in others]


def reason_left_out(model: type[models.Model]) -> str | None:
    """Why a table stays where it is; None for one that is told."""
    if model._meta.app_label not in APPS:
        return LEFT_OUT[model._meta.label_lower]
    return getattr(model, "LEFT_OUT", None)


def told_entries(entries: models.QuerySet[Entry]) -> Iterator[dict[str, Any]]:
    """Entries as they were hashed, with the hash of the one before (`previous`) and their own, in the order given."""
    names = {"item_no": models.F("item__item_no"), "set_no": models.F("gear_set__set_no")}
    found = entries.annotate(**names, username=models.F("by__username"))
    for entry in found.iterator(chunk_size=CHUNK):
        subject = f"item:{entry.item_no}" if entry.item_id else f"set:{entry.set_no}"
        if entry.item_id is None and entry.gear_set_id is None:
            subject = "site"
        stated = payload(entry, subject=subject, by=entry.username or "")
        yield {**stated, "previous": entry.previous_hash, "hash": entry.hash}


def told_heads(database: str = "default") -> Iterator[dict[str, Any]]:
    """What witnesses the entries of every subject: how many there are, and the hash of the newest."""
    columns = ("entry_count", "head_hash", "chain_ok")
    for head in SiteHead.objects.using(database).values_list(*columns):
        yield _head("site", *head)
    sets = GearSet.objects.using(database).order_by("pk").values_list("set_no", *columns)
    for set_no, *head in sets.iterator(chunk_size=CHUNK):
        yield _head(f"set:{set_no}", *head)
    items = ItemState.objects.using(database).order_by("pk").values_list("item__item_no", *columns)
    for item_no, *head in items.iterator(chunk_size=CHUNK):
        yield _head(f"item:{item_no}", *head)


def _head(subject: str, count: int, newest: str, whole: bool) -> dict[str, Any]:
    return {"subject": subject, "count": count, "hash": newest, "whole": whole}


@dataclass(frozen=True)
class Maker:
    """Makes rows from what was told of them. `people`, `items` and `sets` are keys by name; `content` reads a file."""

    people: Mapping[str, int]
    items: Mapping[str, int]
    sets: Mapping[str, int]
    content: Callable[[str], bytes]

    def row(self, table: Table, told: Mapping[str, Any]) -> models.Model:
        """The row, not yet stored. Columns that came later may be missing. Raises WrongRow."""
        unknown = told.keys() - table.columns.keys()
        if unknown:
            raise WrongRow(f"{table.name} has no column {sorted(unknown)[0]}.")
        values = {}
        for name, field in table.columns.items():
            if name not in told:
                if not (field.null or field.has_default() or field.empty_strings_allowed):
                    raise WrongRow(f"{table.name} lacks its column {name}.")
                continue
            try:
                values[field.attname] = self._value(table, name, told[name])
            except WrongRow:
                raise
            except Exception as error:  # every kind of column has its own ways to say no
                raise WrongRow(f"{table.name}.{name} cannot be {told[name]!r}.") from error
        made = table.model(**values)
        if isinstance(made, Sealed):
            made.appending = True
        return made

    def entry(self, told: Mapping[str, Any]) -> Entry:
        """An entry as it was told, its hashes among it. Raises WrongRow."""
        values = {name: one for name, one in told.items() if name not in ("subject", "previous")}
        word, _colon, number = told["subject"].partition(":")
        keys = {"item": self.items, "set": self.sets, "site": {"": None}}.get(word, {})
        if number not in keys:
            raise WrongRow(f"There is no {told['subject']} in the tables.")
        row = self.row(
            Table(Entry, None), {**values, "item": "", "gear_set": None, "previous_hash": told["previous"]}
        )
        if word != "site":
            setattr(row, {"item": "item_id", "set": "gear_set_id"}[word], keys[number])
        return row  # type: ignore[return-value]

    def _value(self, table: Table, name: str, value: Any) -> Any:
        field = table.columns[name]
        if table.by_name(name):
            return (self.people if name == "by" else self.items)[value] if value else None
        if value is None:
            return None
        if isinstance(field, models.BinaryField):
            return self.content(value)
        if isinstance(field, models.JSONField):
            return value
        if isinstance(field, models.DateTimeField):
            return parse_datetime(value)
        if field.is_relation:
            return field.target_field.to_python(value)
        return field.to_python(value)


def restart_numbers(database: str = "default") -> None:
    """Have the database number new rows after the highest key that is there; SQLite does so by itself."""
    from django.core.management.color import no_style

    connection = connections[database]
    own = [model for model in apps.get_models(include_auto_created=True) if model._meta.app_label in APPS]
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), own):
            cursor.execute(statement)
