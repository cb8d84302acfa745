"""What a record is, in figures that two copies of it must have in common: versions, counts, heads, seal, answers."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.db.models import Count, Max
from django.utils.translation import gettext as _

from gear.backups.archive import BackupRefused
from gear.backups.scratch import LEFT_OUT
from gear.ledger import site_zone
from gear.models import Entry, GearSet, ItemState, Seal, SiteHead
from gear.queries import everything, question
from gear.rules.moments import local_day
from gear.rules.packs.loading import DEFAULT as PACKS

_PROJECT = Path(__file__).resolve().parent.parent.parent


def version() -> str:
    """The version of this program, as its project file states it."""
    return tomllib.loads((_PROJECT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]


def pack_files() -> list[Path]:
    """The files of rule packs, with the list of their hashes."""
    return sorted(path for path in PACKS.iterdir() if path.suffix == ".toml" or path.name == "SHA256SUMS")


def stated() -> dict[str, Any]:
    """Figures of the record in the database that is looked at. Columns read here are as old as the first release."""
    entries = Entry.objects.aggregate(count=Count("pk"), newest=Max("recorded_at"))
    newest = Seal.objects.order_by("-number").values_list("number", "hash", "sealed_at").first()
    number, hashed, sealed_at = newest or (0, "", None)
    return {
        "version": version(),
        "database": connection.vendor,
        "migrations": [list(one) for one in applied()],
        "rows": rows(),
        "entries": entries["count"],
        "newest_at": entries["newest"].isoformat() if entries["newest"] else "",
        "head": head(),
        "seal": f"{number}:{hashed}" if newest else "",
        "sealed_at": sealed_at.isoformat() if sealed_at else "",
    }


def rows() -> dict[str, int]:
    """table: number of its rows, for every table that a copy must have whole."""
    names = sorted(set(connection.introspection.table_names()) - set(LEFT_OUT))
    found = {}
    with connection.cursor() as cursor:
        for name in names:
            cursor.execute(f"SELECT COUNT(*) FROM {connection.ops.quote_name(name)}")  # noqa: S608 - names of tables
            found[name] = cursor.fetchone()[0]
    return found


def head() -> str:
    """One hash over the newest entry of every item, every set and the site."""
    hashed = hashlib.sha256()
    chains = (
        ("item", ItemState.objects.values_list("item__item_no", "head_hash")),
        ("set", GearSet.objects.values_list("set_no", "head_hash")),
        ("site", SiteHead.objects.values_list("only", "head_hash")),
    )
    for word, heads in chains:
        for name, newest in sorted((str(name), newest) for name, newest in heads):
            hashed.update(f"{word}:{name}:{newest}\n".encode())
    return hashed.hexdigest()


def applied() -> list[tuple[str, str]]:
    """(app, name) of every migration that the database has had, sorted."""
    return sorted(MigrationRecorder(connection).applied_migrations())


def unknown_to_us(migrations: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """Those of the migrations that this program does not know: a newer one made them."""
    loader = MigrationLoader(None)
    replaced = {one for squashed in loader.replacements.values() for one in squashed.replaces}
    return sorted(set(migrations) - set(loader.disk_migrations) - replaced)


def open_to_us(migrations: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """The migrations of this program that are not among these."""
    loader = MigrationLoader(None)
    replaced = {one for squashed in loader.replacements.values() for one in squashed.replaces}
    return sorted(set(loader.disk_migrations) - set(migrations) - replaced)


def check_version(manifest: dict[str, Any]) -> None:
    """Raise BackupRefused for a backup that a newer version made."""
    if newer := unknown_to_us([(app, name) for app, name in manifest["migrations"]]):
        told = {"version": manifest.get("version"), "first": ".".join(newer[0])}
        raise BackupRefused(
            _(
                "This backup was made by a newer version (%(version)s, with %(first)s), which this program cannot "
                "read. Install that version, then restore it."
            )
            % told
        )


def answers(at: datetime) -> Iterator[dict[str, Any]]:
    """The answer about every item for the day of a moment, as known then: what two versions must agree upon."""
    for answer in everything(question(local_day(at, site_zone()), known_at=at), of_copy=True):
        yield {
            "item": answer.item_no,
            "verdict": answer.verdict,
            "good_through": answer.good_through.isoformat() if answer.good_through else "",
            "reasons": [reason.code for reason in answer.reasons],
        }


def changed(before: Iterator[dict[str, Any]], after: Iterator[dict[str, Any]]) -> list[str]:
    """Each item whose answer is another, in words, by its number."""
    was = {one["item"]: one for one in before}
    now = {one["item"]: one for one in after}
    return [
        f"{item}: {_told(was.get(item))} -> {_told(now.get(item))}"
        for item in sorted(was.keys() | now.keys())
        if was.get(item) != now.get(item)
    ]


def _told(answer: dict[str, Any] | None) -> str:
    if answer is None:
        return _("not in the book")
    return " ".join(filter(None, (answer["verdict"], answer["good_through"], ",".join(answer["reasons"]))))
