"""manage.py nightly: what must be done once a day, each step for itself."""

from __future__ import annotations

from io import StringIO
from typing import Any
from uuid import uuid4

from django.core.management import call_command, get_commands
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError, close_old_connections, connection
from django.utils import timezone
from django.utils.translation import gettext as _

from gear.models import STEP_NAMES, NightlyResult

# step: (command, its options). One that is not part of this release is left out.
WORK: dict[str, tuple[str, dict[str, Any]]] = {
    "seal": ("seal_ledger", {}),
    "ledger": ("verify_ledger", {"files": True}),
    "states": ("rebuild_states", {"check": True}),
    "database": ("verify_ledger", {"database": True}),
    "photos": ("orphan_photos", {}),
    "backup": ("backup", {"verify": True}),
}
LONGEST = NightlyResult._meta.get_field("sentence").max_length


class Command(BaseCommand):
    help = (
        "Seals the day, proves record, photos and database, and makes a backup that is restored and proven. A step "
        "that fails stops no other. What came of each is kept and stands on the page Health. Exit status 1 when any "
        "step failed. To be run once a day, at night."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--skip",
            action="append",
            default=[],
            choices=STEP_NAMES,
            help="leaves a step out; may be given again. Health turns red a day after a step that ran once stays out.",
        )

    def handle(self, *, skip: list[str], **_options: Any) -> None:
        run, failed = uuid4(), []
        for step, (command, options) in WORK.items():
            if step in skip or command not in get_commands():
                continue
            ok, said = _done(command, options)
            told = _as_one_sentence(step, said) if ok else said
            self.stdout.write(f"{_('well') if ok else _('FAILED')}  {STEP_NAMES[step]}: {told}")
            try:
                row = NightlyResult(run=run, at=timezone.now(), step=step, ok=ok, sentence=told[:LONGEST])
                row.save()
            except DatabaseError as error:
                ok = False
                self.stderr.write(_("The result could not be kept: %s") % error)
            if not ok:
                failed.append(str(STEP_NAMES[step]))
        if failed:
            raise CommandError(_("Failed: %s. See above what to do.") % ", ".join(failed))


def _done(command: str, options: dict[str, Any]) -> tuple[bool, str]:
    """(whether it ended well, what it said). Whatever one step does, the next one must have its turn."""
    if not connection.in_atomic_block:
        close_old_connections()  # one that broke in the step before
    said = StringIO()
    try:
        call_command(command, stdout=said, stderr=said, **options)
    except (CommandError, SystemExit) as error:
        return False, f"{error} {said.getvalue()}".strip()
    except Exception as error:
        return False, f"{type(error).__name__}: {error} {said.getvalue()}".strip()
    return True, said.getvalue().strip()


def _as_one_sentence(step: str, said: str) -> str:
    if step != "photos":
        return said or _("Done.")
    if not said:
        return _("Every file belongs to a record.")
    told = _(
        "%(count)s files belong to no record; nothing is lost with them: manage.py orphan_photos --remove."
    )
    return told % {"count": len(said.splitlines())}
