"""An upgrade that leaves no half of itself behind: done on a scratch copy, put in place once that is proven."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.utils import timezone
from django.utils.translation import gettext as _

from gear.backups import archive, making, occupancy, restoring, scratch, stated
from gear.backups.archive import BackupRefused
from gear.queries import backups

Telling = Callable[[str], None]


@dataclass
class Upgraded:
    """What an upgrade did.

    `backup` was made before it, None where there was no record yet; `kept` is where the record of before is, empty
    where no table changed; `compared` names the backup whose answers, given by the version that made it, were held
    against those of this version.
    """

    backup: Path | None
    kept: str
    compared: str
    changed: list[str]


def upgrade(say: Telling) -> Upgraded:
    """Back up, migrate a scratch copy, prove it, compare every answer, and only then put it in place.

    Raises BackupRefused, or occupancy.InUse while the service runs. Whatever fails, the record stands as it was, and
    the version before starts on it as ever.
    """
    with occupancy.alone(Path(settings.DATA_DIR)):
        applied = stated.applied()
        if restoring.is_empty() and not applied:
            call_command("migrate", verbosity=0, interactive=False)
            return Upgraded(None, "", "", [])
        if newer := stated.unknown_to_us(applied):
            raise BackupRefused(
                _("The tables are of a newer version than this program (%s). Install that version.")
                % ".".join(newer[0])
            )
        call_command("check")
        before = backups.newest_verified() or backups.newest_backup()
        saved = making.default_name().with_name(f"before-upgrade-{timezone.now():%Y%m%dT%H%M%S}.backup")
        say(_("Backing up to %s") % saved)
        making.make(saved, with_answers=not stated.open_to_us(applied))
        say(_("Restoring it to a scratch place, migrating and proving it there"))
        with restoring.read_back(saved) as (examined, database, _archived):
            with scratch.looking_at(database):
                compared, changed = _compared(before.file if before else "")
            _check_unchanged(examined.manifest["rows"])
            kept = restoring.put_in_place(database, word="upgrade") if examined.migrated else ""
        return Upgraded(saved, kept, compared, changed)


def _check_unchanged(rows: dict[str, int]) -> None:
    """Raise BackupRefused where something was recorded since the backup, which the migrated copy would lack.

    The lock in DATA_DIR keeps out this machine alone; another server may use the same PostgreSQL.
    """
    if stated.rows() != rows:
        raise BackupRefused(
            _(
                "Something was recorded while this ran. Stop service and timers on every server, then run it again."
            )
        )


def _compared(name: str) -> tuple[str, list[str]]:
    """(the backup compared with or empty, the answers that this version gives otherwise for the moment of it)."""
    if not name:
        return "", []
    try:
        with archive.opened(Path(name)) as old:
            examined = restoring.Examined(old.manifest, old.digest)
            return name, stated.changed(old.lines(making.ANSWERS), stated.answers(examined.made_at))
    except (BackupRefused, KeyError):
        return "", []
