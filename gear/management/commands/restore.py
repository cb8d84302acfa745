"""manage.py restore: a backup put in the place of the record, and nothing believed until somebody answers for it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation import gettext as _

from gear.backups import restoring
from gear.backups.archive import BackupRefused
from gear.backups.occupancy import InUse
from gear.ledger import outside
from gear.ledger.seals import Anchor
from gear.management.seals import anchor
from gear.queries import restored


class Command(BaseCommand):
    help = (
        "Restores a backup made by `backup`. It is proven in a scratch place first; on any error what stands there "
        "stands. Stop the service and its timers before. Every answer is `unknown` afterwards until the newest seal "
        "was compared with one held outside, or an administrator signed for the gap."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument(
            "--replace", action="store_true", help="a record is there: put it aside under a dated name"
        )
        parser.add_argument(
            "--seal",
            type=anchor,
            metavar="NUMBER:HASH",
            help="the newest seal that you hold outside, printed or mailed; refused unless it is the backup's newest",
        )

    def handle(self, *, file: Path, replace: bool, seal: Anchor | None, **_options: Any) -> None:
        try:
            done = restoring.restore(file, replace=replace, seal=seal)
        except (BackupRefused, InUse) as error:
            raise CommandError(str(error)) from error
        restoring.tell(done.examined, self.stdout.write)
        if done.kept:
            self.stdout.write(_("The record that stood here is kept as %s.") % done.kept)
        if (newer := outside.newest()) is not None and restored.waiting() is not None:
            self.stdout.write(
                _("Newest seal that this machine knows of: %s") % f"{newer.number}:{newer.hash}"
            )
        self.stdout.write(
            _("Restored.")
            if restored.waiting() is None
            else _(
                "Restored. EVERY ANSWER IS UNKNOWN until somebody answers for it: the page Restored record, or "
                "manage.py confirm_restore."
            )
        )
