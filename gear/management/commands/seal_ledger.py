"""manage.py seal_ledger: the daily seal."""

from __future__ import annotations

from datetime import datetime, timedelta
from time import sleep
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from gear.ledger import outside
from gear.ledger.seals import last_seal, make_seal
from gear.ledger.writers import WritersBusy
from gear.models import Seal
from gear.queries import restored

BEHIND = timedelta(minutes=5)


TRIES, PAUSE_S = 60, 10


def _patiently(moment: datetime) -> Seal | None:
    """Ten minutes of trying: an import keeps a seal waiting, but a seal must not keep the people waiting."""
    for _once in range(TRIES - 1):
        try:
            return make_seal(moment)
        except WritersBusy:
            sleep(PAUSE_S)
    try:
        return make_seal(moment)
    except WritersBusy as error:
        raise CommandError(str(error)) from error


class Command(BaseCommand):
    help = (
        "Seals everything recorded since the last seal: a Merkle root and a count, to be kept outside the database. "
        "To be run once a day; a second run on the same day does nothing."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--now", action="store_true", help="make a seal even if one was made today")

    def handle(self, *, now: bool, **_options: Any) -> None:
        moment, last = timezone.now(), last_seal()
        if last and moment < last.sealed_at - BEHIND:
            raise CommandError(
                _(
                    "The clock of this machine (%(now)s) is behind the last seal (%(seal)s). Set it right, then run "
                    "this again."
                )
                % {
                    "now": moment.isoformat(timespec="seconds"),
                    "seal": last.sealed_at.isoformat(timespec="seconds"),
                }
            )
        if (gone := restored.waiting()) is not None and gone.outside is not None:
            raise CommandError(
                _(
                    "The newest seal that this machine knows of (%s) is not in this record: an older copy was put "
                    "back. Nothing is sealed until an administrator signs for it on the page Restored record."
                )
                % gone.outside_seal
            )
        if last:
            outside.note(last)  # one that was made where this list does not stand, or by another program
        if last and not now and timezone.localdate(last.sealed_at) == timezone.localdate(moment):
            self._tell(_("Sealed already today."), last)
            return
        seal = _patiently(moment)
        if seal is None:
            self._tell(_("Nothing was recorded since the last seal."), last)
            return
        outside.note(seal)
        self._tell(_("Sealed."), seal)

    def _tell(self, what: str, seal: Seal | None) -> None:
        if seal is None:
            self.stdout.write(_("Nothing was recorded yet."))
            return
        self.stdout.write(
            _("%(what)s Seal %(number)s:%(hash)s (%(rows)s rows, %(at)s)")
            % {
                "what": what,
                "number": seal.number,
                "hash": seal.hash,
                "rows": seal.row_count,
                "at": seal.sealed_at.isoformat(timespec="seconds"),
            }
        )
