"""The export: everything on record in one zip, with hashes that anybody can check and that makes the same record again.

Tables are found from the models (gear.ledger.rows): none can be forgotten, and none is named here but those with a
part of their own. What the zip holds, the text READ ME.txt in it says to its reader.
"""

from __future__ import annotations

import fcntl
import logging
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import IO, Any

from django.conf import settings
from django.core.files.storage import default_storage
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.db.models import Max, QuerySet
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.translation import gettext as _

from gear import queries
from gear.ledger import last_seal
from gear.ledger.chain import utc_text
from gear.ledger.rows import APPS, Table, tables, told_entries, told_heads
from gear.ledger.snapshot import one_moment
from gear.models import AppendOnly, Entry, GearSet, Item, ItemType, Membership, Seal
from gear.pdf import NotSet
from gear.rules import gearbook
from gear.spreadsheets import Cell, inert_lines
from inspections.rules import testbook
from reports.actions.archive import Archive
from reports.actions.export_proofs import proofs_of
from reports.pdf.dossier import dossier_pdf
from reports.pdf.overdue import weekly_pdf
from reports.queries import books
from reports.queries.dossier import dossier
from reports.queries.weekly import weekly
from reports.rules import verify_export
from reports.rules.overdue import Scope
from reports.spreadsheets import csv_lines

log = logging.getLogger(__name__)
PROGRAM = Path(verify_export.__file__)
BLOCK = 1 << 18  # bytes
MOST_RECORDS = 10  # pieces whose record as of the export is put on paper too


class Busy(Exception):
    """Another export is being made. The message says what to do."""


class NotOnRecord(Exception):
    """A piece that an export was asked of is not in the book."""


@dataclass(frozen=True)
class Asked:
    """What to export: everything; or what was recorded until a moment (aware); or some pieces by number.

    Only an export of everything can be brought into another installation.
    """

    until: datetime | None = None
    items: tuple[str, ...] = ()

    @property
    def kind(self) -> str:
        return "items" if self.items else "until" if self.until else "all"


@dataclass(frozen=True)
class Made:
    """What an export holds: rows, entries, bytes of its files unpacked, the hash of its manifest, its newest seal."""

    rows: int
    entries: int
    size: int
    manifest: str
    seal: str
    missing: list[str]


@contextmanager
def one_at_a_time() -> Iterator[None]:
    """Raises Busy while another export of this installation is made, by whichever process."""
    with (Path(settings.DATA_DIR) / "export.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise Busy(_("Another export is being made. Try again in a few minutes.")) from error
        yield


def export(target: IO[bytes], asked: Asked | None = None, *, now: datetime | None = None) -> Made:
    """Write an export to an open file, as everything stood in one moment. Raises Busy or NotOnRecord."""
    with one_at_a_time(), one_moment():
        making = _Export(target, asked or Asked(), now or timezone.now())
        with closing(making.archive):
            return making.made()


class _Export:
    def __init__(self, target: IO[bytes], asked: Asked, now: datetime) -> None:
        self.asked, self.now = asked, now
        self.missing: list[str] = []
        self.leaves: list[tuple[datetime, str]] = []
        self.items = dict(Item.objects.filter(item_no__in=asked.items).values_list("pk", "item_no"))
        lacking = sorted(set(asked.items) - set(self.items.values()))
        if lacking:
            raise NotOnRecord(_("There is no %s in the book.") % ", ".join(lacking))
        joined = Membership.objects.filter(item_id__in=self.items).values_list("gear_set_id", flat=True)
        self.sets = set(joined)
        self.archive = Archive(target, now)

    def made(self) -> Made:
        told = [self._table(table) for table in tables() if self._rows(table) is not None]
        if self.asked.kind == "items":
            self.archive.text(verify_export.PROOFS, [proofs_of(self.leaves)])
        seal = self._newest_seal()
        read_me = {
            "asked": self.asked,
            "made_at": timezone.localtime(self.now),
            "seal": seal,
            "demo": settings.DEMO,
        }
        self._papers()
        self.archive.add(PROGRAM.name, [PROGRAM.read_bytes()])
        self.archive.text("READ ME.txt", [render_to_string("reports/export_read_me.txt", read_me)])
        manifest = self._manifest(told, seal)
        size = sum(one["size"] for one in self.archive.files.values())
        digest = self.archive.text(verify_export.MANIFEST, [verify_export.canonical(manifest).decode(), "\n"])
        self.archive.close()
        entries = next(one["rows"] for one in told if one["file"] == verify_export.ENTRIES)
        return Made(sum(one["rows"] for one in told), entries, size, digest, seal, self.missing)

    # The tables

    def _rows(self, table: Table) -> QuerySet | None:
        """The rows of a table that belong to this export; None where the table does not."""
        model, everything = table.model, table.model._base_manager.all()
        if self.asked.kind == "all" or model is Seal:
            return everything if not self.asked.until else everything.filter(sealed_at__lte=self.asked.until)
        if self.asked.kind == "until":
            if table.dated:
                return everything.filter(**{f"{table.dated}__lte": self.asked.until})
            known = issubclass(model, AppendOnly) and "entry" in table.columns
            return everything.filter(entry__recorded_at__lte=self.asked.until) if known else everything
        own: Mapping[type, QuerySet] = {
            Entry: Entry.objects.filter(item_id__in=self.items)
            | Entry.objects.filter(gear_set_id__in=self.sets),
            Item: Item.objects.filter(pk__in=self.items),
            ItemType: ItemType.objects.filter(item__in=self.items),
            GearSet: GearSet.objects.filter(pk__in=self.sets),
        }
        if model in own:
            return own[model].distinct() if model is ItemType else own[model]
        return everything.filter(item_id__in=self.items) if table.by_item else None

    def _table(self, table: Table) -> dict[str, Any]:
        rows = self._rows(table)
        assert rows is not None  # asked before
        name = f"tables/{table.name}.jsonl"
        if table.model is Entry:
            name = verify_export.ENTRIES
            count = self._entries(rows)
        else:
            count = self.archive.rows(name, self._noted(table, table.told(rows)))
            for file, content in table.contents(rows):
                self.archive.add(file, [content])
            if table.has_media:
                self._media(rows)
        return {
            "file": name,
            "name": table.name,
            "rows": count,
            "leaf": table.model._meta.model_name,
            "dated": table.dated,
            "key": table.key,
            "later": sorted(getattr(table.model, "LATER", ())),
        }

    def _noted(self, table: Table, rows: Iterable[dict[str, Any]]) -> Iterator[dict[str, Any]]:
        """The rows, the leaves of those that a seal covers noted where proofs are wanted."""
        wanted = table.dated if self.asked.kind == "items" else None
        shape = {"later": getattr(table.model, "LATER", ()), "leaf": table.model._meta.model_name}
        for row in rows:
            if wanted:
                leaf = row["hash"] if table.model is Entry else verify_export.leaf_of(shape, row)
                self.leaves.append((datetime.fromisoformat(row[wanted]), leaf))
            yield row

    def _entries(self, entries: QuerySet[Entry]) -> int:
        """The site's first, then set by set and item by item, each from its first entry on; with their heads."""
        newest: dict[str, tuple[int, str]] = {}

        def told() -> Iterator[dict[str, Any]]:
            parts = (
                entries.filter(item__isnull=True, gear_set__isnull=True).order_by("position"),
                entries.filter(gear_set__isnull=False).order_by("gear_set_id", "position"),
                entries.filter(item__isnull=False).order_by("item_id", "position"),
            )
            for part in parts:
                for row in told_entries(part):
                    newest[row["subject"]] = (row["position"], row["hash"])
                    yield row

        count = self.archive.rows(verify_export.ENTRIES, self._noted(Table(Entry, "recorded_at"), told()))
        self.archive.rows(verify_export.HEADS, self._heads(newest))
        return count

    def _heads(self, newest: Mapping[str, tuple[int, str]]) -> Iterable[dict[str, Any]]:
        """What witnesses the entries. Of a past moment nothing does but the entries themselves."""
        if self.asked.kind == "until":
            return [
                {"subject": one, "count": at[0], "hash": at[1], "whole": True} for one, at in newest.items()
            ]
        return (one for one in told_heads() if self.asked.kind == "all" or one["subject"] in newest)

    def _media(self, rows: QuerySet) -> None:
        """The stored files that rows name. One that is gone is named in the manifest, and the verifier tells of it."""
        for path in rows.order_by("pk").values_list("path", flat=True).iterator(chunk_size=500):
            try:
                with default_storage.open(path) as file:
                    self.archive.add(f"media/{path}", file.chunks(BLOCK))
            except OSError:
                self.missing.append(f"media/{path}")

    # What people read, and what says what is here

    def _papers(self) -> None:
        if self.asked.kind == "items" and len(self.items) <= MOST_RECORDS:
            self._records()
        if self.asked.kind != "all":
            return
        self._list("gear-book", gearbook.COLUMNS, books.rows_of_gear())
        self._list("test-book", testbook.COLUMNS, books.rows_of_tests())
        self._list("destroyed", books.DESTROYED, books.rows_of_destroyed())
        week = weekly(queries.question(), scope=Scope())
        self.archive.text("lists/overdue.csv", csv_lines(week.report))
        self._paper("overdue", partial(weekly_pdf, week))

    def _records(self) -> None:
        pieces = Item.objects.filter(pk__in=self.items).select_related("item_type")
        for item in pieces.order_by("item_no"):
            found = dossier(item, self.now, self.now, to=None, depot=None)
            made = partial(dossier_pdf, found, depot=None, printed_at=self.now)
            self._paper(f"record-{_plain(item.item_no)}", made)

    def _paper(self, name: str, made: Callable[[], bytes]) -> None:
        try:
            self.archive.add(f"papers/{name}.pdf", [made()])
        except NotSet as error:
            log.error("An export was made without its paper %s: %s", name, error.detail)

    def _list(self, name: str, columns: Iterable[str], rows: Iterable[tuple[Cell, ...]]) -> None:
        self.archive.text(f"lists/{name}.csv", inert_lines(columns, rows))

    def _newest_seal(self) -> str:
        seal = last_seal() if not self.asked.until else None
        if self.asked.until:
            seal = Seal.objects.filter(sealed_at__lte=self.asked.until).order_by("-number").first()
        return f"{seal.number}:{seal.hash}" if seal else ""

    def _manifest(self, told: list[dict[str, Any]], seal: str) -> dict[str, Any]:
        rules = queries.rules_for(queries.question())
        newest = Entry.objects.aggregate(Max("recorded_at"))["recorded_at__max"]
        scope: dict[str, Any] = {"kind": self.asked.kind, "items": sorted(self.asked.items)}
        return {
            "format": verify_export.FORMAT,
            "version": verify_export.VERSION,
            "scope": scope | {"until": utc_text(self.asked.until) if self.asked.until else None},
            "site": settings.SITE_NAME,
            "demo": settings.DEMO,
            "zone": settings.TIME_ZONE,
            "made_at": utc_text(self.now),
            "newest_entry": utc_text(newest) if newest else None,
            "migrations": migrations(),
            "rule_pack": rules.pack.label if rules.pack else None,
            "seal": seal,
            "tables": told,
            "missing": self.missing,
            "files": self.archive.files,
        }


def _plain(item_no: str) -> str:
    """An item number as a part of a file name."""
    return re.sub(r"[^A-Za-z0-9]+", "-", item_no)


def migrations() -> dict[str, list[str]]:
    """The migrations of our apps that this database has, by app: what its tables look like."""
    found: dict[str, list[str]] = {app: [] for app in APPS}
    for app, name in sorted(MigrationRecorder(connection).applied_migrations()):
        if app in found:
            found[app].append(name)
    return found
