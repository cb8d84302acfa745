"""manage.py rebuild_states: fold every item again."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation import gettext as _

from gear.ledger.states import differing, rebuild


class Command(BaseCommand):
    help = (
        "Folds the entries of every item again and stores the result. The count of entries and the newest hash are "
        "left as they are: they witness what was once recorded (see verify_ledger)."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--check",
            action="store_true",
            help="store nothing; list what differs, one `item: column` a line, with exit status 1 when anything does",
        )

    def handle(self, *, check: bool, **_options: Any) -> None:
        if not check:
            count = rebuild()
            self.stdout.write(_("%(count)s items were folded again.") % {"count": count})
            return
        found = 0
        for item_no, column in differing():
            found += 1
            self.stdout.write(f"{item_no}: {column}")
        if found:
            raise CommandError(
                _(
                    "%(count)s values differ from what the entries say. Run rebuild_states, then verify_ledger; a "
                    "difference in entry_count or head_hash stays, because entries are missing or were added."
                )
                % {"count": found}
            )
        self.stdout.write(_("Every state equals the fold of its entries."))
