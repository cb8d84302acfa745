"""manage.py import_records: an export into an empty installation."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from reports.actions.bringing_back import CannotBring, bring_back
from reports.rules.verify_export import printed_seal


class Command(BaseCommand):
    help = (
        "Brings an export of the whole record into this installation, which must be empty: migrated, and nobody added. "
        "The export is checked first; then all of it is stored or nothing. People come back deactivated and without "
        "passwords, devices revoked."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE.zip", type=Path)
        parser.add_argument(
            "--seal",
            type=printed_seal,
            action="append",
            default=[],
            metavar="NUMBER:HASH",
            help="a seal as it was printed or mailed, to compare with; may be given more than once",
        )

    def handle(self, *, file: Path, seal: list[tuple[int, str]], **_options: Any) -> None:
        try:
            brought = bring_back(file, printed=seal, now=timezone.now())
        except CannotBring as error:
            raise CommandError(_("%s\nNothing was stored.") % error) from None
        told = {
            "rows": sum(brought.rows.values()),
            "at": brought.made_at,
            "entries": brought.rows["gear.entry"],
        }
        self.stdout.write(
            _("Brought in: %(entries)s entries, %(rows)s rows in all, as they stood at %(at)s.") % told
        )
        self.stdout.write(
            _("Newest seal: %s") % brought.seal if brought.seal else _("Nothing was sealed yet.")
        )
        if not brought.compared:
            self.stdout.write(
                _(
                    "Every answer is unknown until the newest seal was compared with one that is held outside, or an "
                    "administrator signed for the gap: manage.py confirm_restore, or the page Restored record."
                )
            )
        self.stdout.write(
            _(
                "Everybody is deactivated. Add an administrator (manage.py add_person NAME --role administrator), who "
                "gives people their passwords; devices are enrolled anew."
            )
        )
