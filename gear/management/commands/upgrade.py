"""manage.py upgrade: the tables of this version, proven before they count."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from gear.backups import restoring
from gear.backups.occupancy import InUse
from gear.backups.upgrading import upgrade


class Command(BaseCommand):
    help = (
        "Run it after a new version was unpacked and its packages are installed, with the service stopped: it backs "
        "up, migrates and proves a copy, lists every item whose answer is another than under the version before, and "
        "puts the copy in place. On any error the record stands as it was, and the version before starts again."
    )

    def handle(self, *_arguments: Any, **_options: Any) -> None:
        try:
            done = upgrade(self.stdout.write)
        except InUse as error:
            raise CommandError(str(error)) from error
        except Exception as error:  # whatever a migration raises, the same holds: nothing was touched
            raise CommandError(
                _(
                    "%(why)s The record stands as it was. Go back to the version before and start it: there is nothing "
                    "to undo."
                )
                % {"why": f"{error}".strip() or type(error).__name__}
            ) from error
        if done.backup is None:
            self.stdout.write(_("Nothing was recorded yet. The tables were made."))
            return
        if done.kept:
            self.stdout.write(_("Upgraded. The record of before is kept as %s.") % done.kept)
        else:
            self.stdout.write(_("No table changed. The record was proven and stays where it is."))
        if not done.compared:
            self.stdout.write(_("No backup of before holds answers, so changed answers cannot be listed."))
            return
        self.stdout.write(_("Compared with the answers in %s:") % done.compared)
        restoring.tell_changed(done.changed, self.stdout.write)
