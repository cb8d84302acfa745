"""Make the weekly report and mail it: once for every ISO week, however often and in how many places this runs."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from gear.queries import BadQuestion, question_in
from reports.actions.weekly import run
from reports.queries.recipients import plan
from reports.queries.sent_reports import due
from reports.rules.weeks import newest_due

NOT_ALL_WELL = (
    1  # exit status: something is not sent, or what was sent lists items that cannot be relied upon
)
WRONG_USE = 2


class Command(BaseCommand):
    help = (
        "Makes, keeps and mails the overdue report of every week that is due, the oldest first; weeks that were missed "
        "are made up, each once. Run it every 15 minutes: what is done is left alone, what failed is tried again. The "
        "exit status is 0 only when everything due was taken by the mail server."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--as-of",
            default="",
            metavar="DATE",
            help="only the week of that day (2026-09-14), if it is due and not too long ago",
        )
        parser.add_argument("--dry-run", action="store_true", help="say what would be done, and do nothing")

    def handle(self, *, as_of: str, dry_run: bool, **_options: Any) -> None:
        now = timezone.now()
        weeks = None
        if as_of:
            try:
                asked = question_in(as_of)
            except BadQuestion as error:
                raise CommandError(f"--as-of: {error}", returncode=WRONG_USE) from None
            zone = ZoneInfo(settings.TIME_ZONE)
            week = newest_due(min(asked.as_of_at, now), hour=plan().monday_hour, zone=zone)
            if week not in due(now).weeks:
                sentence = _("--as-of: %s is not due here: before the first record, or too long ago.")
                raise CommandError(sentence % week.label, returncode=WRONG_USE)
            weeks = [week]
        done = run(now, weeks=weeks, dry_run=dry_run)
        for line in done.lines:
            self.stdout.write(line)
        if done.trouble:
            raise CommandError("\n".join(done.trouble), returncode=NOT_ALL_WELL)
