"""manage.py export_records: everything on record in one zip, with hashes that anybody can check."""

from __future__ import annotations

import os
import tempfile
from argparse import ArgumentTypeError
from datetime import datetime
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation import gettext as _

from reports.actions.exporting import Asked, Busy, NotOnRecord, export


def moment(text: str) -> datetime:
    """A moment with its offset from UTC."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise ArgumentTypeError(_("Give a moment with its offset, for example 2026-10-02T05:45-04:00"))
    return found


class Command(BaseCommand):
    help = (
        "Writes everything on record to a zip: every entry and every table with hashes, photos, lists and papers for "
        "people, and a program that checks it without this service. Secrets are not in it; names of people are."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE.zip", type=Path)
        parser.add_argument(
            "--item",
            action="append",
            default=[],
            metavar="ITEM",
            help="only this piece; may be given more than once",
        )
        parser.add_argument(
            "--until", type=moment, metavar="MOMENT", help="only what was recorded until then"
        )

    def handle(self, *, file: Path, item: list[str], until: datetime | None, **_options: Any) -> None:
        if item and until:
            raise CommandError(_("Give --item or --until, not both."))
        if file.exists():
            raise CommandError(_("%s is there already. Give another name.") % file)
        try:
            # Nobody else on this machine may read it, and a half never bears the name of a whole.
            handle, part = tempfile.mkstemp(prefix=".", suffix=".part", dir=file.parent)
            try:
                with os.fdopen(handle, "w+b") as target:
                    made = export(target, Asked(until, tuple(item)))
                    target.flush()
                    os.fsync(target.fileno())
                Path(part).rename(file)
            finally:
                Path(part).unlink(missing_ok=True)
        except (Busy, NotOnRecord, OSError) as error:
            raise CommandError(str(error)) from None
        for missing in made.missing:
            self.stderr.write(_("%s is gone from the store; the export says so.") % missing)
        told = {"file": file, "size": file.stat().st_size, "rows": made.rows, "entries": made.entries}
        self.stdout.write(_("%(file)s: %(entries)s entries, %(rows)s rows in all, %(size)s bytes.") % told)
        self.stdout.write(_("SHA-256 of its manifest: %s") % made.manifest)
        self.stdout.write(_("Newest seal: %s") % made.seal if made.seal else _("Nothing was sealed yet."))
        self.stdout.write(_("Keep the hash and the seal elsewhere: the export is checked against them."))
