"""Mail those who can act: one digest for a person and a day, and at once what is stopped in somebody's hands."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from reports.actions.notices import run
from reports.queries.notice_runs import note_run
from reports.rules.overdue import DoesNotReconcile


class Command(BaseCommand):
    help = (
        "Mails foremen, clerks, supervisors and administrators what is new for them and what they can act on. Run it "
        "every 15 minutes: in the quiet hours it sends only what is stopped in somebody's hands. The exit status is 0 "
        "only when the mail server took everything."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--dry-run", action="store_true", help="say what would be sent, and send nothing")

    def handle(self, *, dry_run: bool, **_options: Any) -> None:
        try:
            done = run(timezone.now(), dry_run=dry_run)
        except DoesNotReconcile as error:
            told = _("No notice was made: the record does not account for every item: %s Run verify_ledger.")
            raise CommandError(told % error, returncode=1) from None
        if not dry_run:
            note_run(timezone.now())
        for line in done.lines:
            self.stdout.write(line)
        if done.trouble:
            raise CommandError("\n".join(done.trouble), returncode=1)
