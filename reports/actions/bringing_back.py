"""Bring an export into an empty installation: every table again, states folded anew, all of it proven or nothing kept.

What is brought in was checked by the verifier that stands alone, and is checked again by the service itself before
anything is kept. Keys of rows stay what they were, because seals cover them.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from json import loads
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.auth.hashers import make_password
from django.core.files.base import File
from django.core.files.storage import default_storage
from django.db import DatabaseError, IntegrityError, connection, models, transaction
from django.utils.translation import gettext as _

import inspections.guards
from gear.backups import stated
from gear.ledger import Draft, last_seal, record, states
from gear.ledger.rows import Maker, Table, WrongRow, restart_numbers, tables
from gear.ledger.seals import Anchor
from gear.ledger.verify import verify
from gear.ledger.writers import hold_writers
from gear.models import Entry, GearSet, Item, ItemState, User
from gear.queries import restored
from inspections.models import Device
from reports.actions.exporting import migrations
from reports.rules import verify_export
from reports.rules.verify_export import Check, NoExport

AT_ONCE = 500  # rows in one statement
TOLD = 5  # problems in one message


class CannotBring(Exception):
    """An export that is not brought in, in sentences. Nothing was stored."""


@dataclass(frozen=True)
class Brought:
    """What was brought in: rows by table, the moment of the export, and its newest seal or nothing.

    Where it was not `compared` with that very seal, every answer is `unknown` until somebody answers for the gap.
    """

    rows: Mapping[str, int]
    made_at: str
    seal: str
    compared: bool


def bring_back(path: Path, *, printed: Sequence[tuple[int, str]] = (), now: datetime) -> Brought:
    """Bring a whole export into this installation, which must be empty. Raises CannotBring; then nothing was stored."""
    try:
        check = Check(path)
        with check.files:
            wrong = check.run(printed)
            if wrong:
                raise CannotBring(_first(_("The export is not what was recorded."), wrong))
            _fits(check.manifest)
            _empty()
            return _Bringing(check, now).brought(printed)
    except NoExport as error:
        raise CannotBring(str(error)) from None


def _first(what: str, wrong: Sequence[str]) -> str:
    more = [_("and %s more") % (len(wrong) - TOLD)] if len(wrong) > TOLD else []
    return "\n".join([what, *wrong[:TOLD], *more])


def _fits(manifest: Mapping[str, Any]) -> None:
    """Raise CannotBring where the export is of another kind, zone or version than this installation can hold."""
    if manifest["scope"]["kind"] != "all":
        raise CannotBring(
            _("This export holds a part of the record. Only an export of everything can be brought in.")
        )
    if manifest.get("demo") and not settings.DEMO:
        raise CannotBring(_("This export holds invented data. Set DEMO=1 for an installation that shows it."))
    if manifest.get("zone") != settings.TIME_ZONE:
        told = {"theirs": manifest.get("zone"), "ours": settings.TIME_ZONE}
        raise CannotBring(
            _(
                "The days of this export are those of %(theirs)s, this installation's of %(ours)s. Set TIME_ZONE first."
            )
            % told
        )
    ours, theirs = migrations(), manifest.get("migrations", {})
    newer = sorted(
        f"{app} {name}" for app, names in theirs.items() for name in set(names) - set(ours.get(app, ()))
    )
    if newer:
        raise CannotBring(
            _(
                "This export was made by a newer version, which knows %s. Update this installation, then try again."
            )
            % ", ".join(newer[:TOLD])
        )
    known = {f"tables/{table.name}.jsonl" for table in tables()} | {verify_export.ENTRIES}
    listed = {one["file"] for one in manifest["tables"]}
    rows = {name for name in manifest["files"] if name.startswith("tables/")}
    if strange := sorted((listed - known) | (rows - listed)):
        raise CannotBring(_("This export holds %s, which this version does not know.") % strange[0])


def _empty() -> None:
    for table in tables():
        if table.model._base_manager.exists():
            raise CannotBring(
                _(
                    "This installation is not empty: there are rows in %s. An export is brought into a new "
                    "installation alone, before anybody is added."
                )
                % table.name
            )


class _Bringing:
    def __init__(self, check: Check, now: datetime) -> None:
        self.check, self.files, self.now = check, check.files, now
        self.written: list[str] = []

    def brought(self, printed: Sequence[tuple[int, str]]) -> Brought:
        try:
            with transaction.atomic(), _unguarded_sessions():
                hold_writers()
                rows = self._rows()
                self._media()
                connection.check_constraints()
                self._states()
                restart_numbers()
                self._prove(printed)
                compared = self._say_so(printed)
        except IntegrityError as error:
            self._remove_written()
            raise CannotBring(_("Rows of the export do not belong together: %s") % error) from None
        except BaseException:
            self._remove_written()
            raise
        manifest = self.check.manifest
        return Brought(rows, manifest["made_at"], manifest["seal"], compared)

    def _prove(self, printed: Sequence[tuple[int, str]]) -> None:
        problems = verify([Anchor(*one) for one in printed], files=True)
        if problems:
            what = _("What was brought in does not prove itself.")
            raise CannotBring(_first(what, [one.sentence for one in problems]))

    def _say_so(self, printed: Sequence[tuple[int, str]]) -> bool:
        """Put on record that this record was put back, as a restore does; whether its newest seal was compared."""
        made_at, newest, earlier = self.check.manifest["made_at"], last_seal(), restored.open_seal()
        seal = f"{newest.number}:{newest.hash}" if newest else ""
        if earlier is not None:
            seal = earlier  # the export holds a restore that nobody answered for
        facts = {"made_at": made_at, "seal": seal, "head": stated.head()}
        record(Draft(None, restored.RESTORED, facts), by=None, via="system")
        # The verifier compared what was printed already; an older seal says nothing of what came after it.
        compared = any(seal.startswith(f"{number}:") for number, _hash in printed)
        if compared:
            answered = {"how": "seal", "seal": seal}
            record(Draft(None, restored.ACCEPTED, answered), by=None, via="system")
        return compared

    def _remove_written(self) -> None:
        for name in self.written:
            with suppress(OSError):
                default_storage.delete(name)

    # Rows

    def _rows(self) -> dict[str, int]:
        maker = Maker(
            people=self._keys(User, "username"),
            items=self._keys(Item, "item_no"),
            sets=self._keys(GearSet, "set_no"),
            content=self.files.read,
        )
        counts = {}
        by_name = {table.name: table for table in tables()}
        for one in self.check.manifest["tables"]:
            table = by_name[one["name"]]
            make = maker.entry if table.model is Entry else _making(maker, table)
            counts[table.name] = self._store(table, make, one["file"])
        return counts

    def _keys(self, model: type[models.Model], name: str) -> dict[str, int]:
        return {row[name]: row["id"] for row in self._told(f"tables/{model._meta.label_lower}.jsonl")}

    def _told(self, name: str) -> Generator[dict[str, Any], None, None]:
        with self.files.open(name) as file:
            yield from map(loads, file)

    def _store(self, table: Table, make: Callable[[Mapping[str, Any]], models.Model], name: str) -> int:
        count = 0
        # Of a table with files each row may be large.
        size = 1 if table.files else AT_ONCE
        try:
            with closing(self._told(name)) as told:
                rows = (self._adjusted(make(one)) for one in told)
                while batch := list(islice(rows, size)):
                    table.model._base_manager.bulk_create(batch, batch_size=size)
                    count += len(batch)
        except (WrongRow, DatabaseError) as error:
            raise CannotBring(f"{name}: {error}") from None
        return count

    def _adjusted(self, row: models.Model) -> models.Model:
        """Nobody can sign in and no device counts until an administrator says so."""
        if isinstance(row, User):
            row.password, row.is_active = make_password(None), False
        elif isinstance(row, Device):
            row.revoked_at = row.revoked_at or self.now
        return row

    # What follows from them

    def _media(self) -> None:
        listed: Iterable[str] = self.check.manifest["files"]
        for name in sorted(one for one in listed if one.startswith("media/")):
            path = name.removeprefix("media/")
            if default_storage.exists(path):
                raise CannotBring(
                    _("There is a file %s in the store already. Give this a new DATA_DIR.") % path
                )
            with self.files.open(name) as file:
                self.written.append(default_storage.save(path, File(file)))

    def _states(self) -> None:
        """The state of every item, with the head that witnesses its entries, folded from them."""
        items = dict(Item.objects.values_list("item_no", "pk"))
        heads = (
            ItemState(item_id=items[head["subject"].removeprefix("item:")], entry_count=head["count"],
                      head_hash=head["hash"])
            for head in self._told(verify_export.HEADS) if head["subject"].startswith("item:")
        )  # fmt: skip
        while batch := list(islice(heads, AT_ONCE)):
            ItemState.objects.bulk_create(batch)
        states.rebuild()


def _making(maker: Maker, table: Table) -> Callable[[Mapping[str, Any]], models.Model]:
    return lambda told: maker.row(table, told)


@contextmanager
def _unguarded_sessions() -> Iterator[None]:
    """Triggers refuse rows of closed bench sessions; these come down within the transaction that stores such rows."""
    inspections.guards.remove(connection)
    yield
    connection.check_constraints()  # PostgreSQL makes no trigger while a check of a key is pending
    inspections.guards.install(connection)
