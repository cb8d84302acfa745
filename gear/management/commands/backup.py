"""manage.py backup: the whole record in one file, while people write."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation import gettext as _

from gear.backups import making, restoring
from gear.backups.archive import BackupRefused


class Command(BaseCommand):
    help = (
        "Writes the database, photos and rule packs into one file that only its owner may read, safe while people "
        "write. The SECRET_KEY is never in it: keep that apart. With --verify the file is then restored to a scratch "
        "place and proven there; with --verify-only an older file is."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "file",
            type=Path,
            nargs="?",
            help="a name that is free; without one, DATA_DIR/backups by the moment",
        )
        parser.add_argument(
            "--verify", action="store_true", help="restore it to a scratch place and prove it"
        )
        parser.add_argument("--verify-only", action="store_true", help="make none, prove the one named")

        parser.add_argument(
            "--keep-days",
            type=int,
            default=30,
            metavar="DAYS",
            help="where no name is given and the new one is proven: remove those in DATA_DIR/backups that are older",
        )

    def handle(
        self, *, file: Path | None, verify: bool, verify_only: bool, keep_days: int, **_options: Any
    ) -> None:
        if verify_only and file is None:
            raise CommandError(_("Name the backup to verify."))
        path = (file or making.default_name()).absolute()
        missing: list[str] = []
        try:
            if not verify_only:
                missing = self._make(path)
            if verify or verify_only:
                restoring.tell(restoring.verified(path), self.stdout.write)
                self.stdout.write(_("Verified: %s restores, and holds what was recorded.") % path)
            if file is None and verify:
                for old in making.remove_older(keep_days):
                    self.stdout.write(
                        _("Removed, more than %(days)s days old: %(file)s") % {"days": keep_days, "file": old}
                    )
        except BackupRefused as error:
            raise CommandError(str(error)) from error
        if missing:
            raise CommandError(
                _("The backup was made, but the files of %(count)s photos are gone, the first is %(first)s.")
                % {"count": len(missing), "first": missing[0]}
            )

    def _make(self, path: Path) -> list[str]:
        made, missing = making.make(path)
        told = {"file": path, "mb": f"{made.bytes / 1e6:.1f}", "entries": made.entries}
        self.stdout.write(_("Backup %(file)s: %(entries)s entries, %(mb)s MB.") % told)
        self.stdout.write(_("SHA-256 in its last 64 bytes: %s") % made.sha256)
        self.stdout.write(
            _("Newest seal in it: %s") % (made.seal or _("none; run manage.py seal_ledger once a day"))
        )
        self.stdout.write(_("Not in it: %s") % making.WITHOUT)
        return missing
