"""manage.py unit_files: the service and its timers for systemd, or the lines for cron."""

from __future__ import annotations

import re
import shlex
import sys
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import get_commands
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation import gettext as _

from gear.management.unit_files import JOBS, Place, crontab, systemd
from gear.queries.installation.machine import folders


class Command(BaseCommand):
    help = (
        "Writes the unit files of this installation for systemd, the service and a timer for everything that must run "
        "by itself, or with --cron the same as lines for cron. Without -o they are only shown."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--user", default="gear", help="the account that the service runs as (gear)")
        parser.add_argument(
            "--variables",
            default="/etc/gear/environment",
            metavar="FILE",
            help="a file of NAME=value lines, read by its owner alone (/etc/gear/environment)",
        )
        parser.add_argument(
            "--bind",
            default="127.0.0.1:8000",
            help="where the web server before it finds it (127.0.0.1:8000)",
        )
        parser.add_argument("--cron", action="store_true", help="lines for cron instead")
        parser.add_argument(
            "-o", "--output", metavar="FOLDER", help="an existing folder, such as /etc/systemd/system"
        )

    def handle(
        self, *, user: str, variables: str, bind: str, cron: bool, output: str | None, **_options: Any
    ) -> None:
        check_same(Path(variables))
        place = Place(
            user=user,
            program=str(Path(__file__).resolve().parents[3]),
            python=sys.executable,
            variables=variables,
            data=str(settings.DATA_DIR),
            writes=" ".join(sorted({str(settings.DATA_DIR), *map(str, folders())})),
            zone=settings.TIME_ZONE,
            bind=bind,
        )
        for name, value in vars(place).items():
            if not re.fullmatch(r"[\w./:@+\[\]-]+( [\w./+-]+)?", value):
                raise CommandError(
                    _("%(name)s is %(value)r: unit files and cron need a path without blanks and signs.")
                    % {"name": name, "value": value}
                )
        jobs = tuple(job for job in JOBS if job.command.split()[0] in get_commands())
        files = {"gear.cron": crontab(place, jobs)} if cron else systemd(place, jobs)
        if output is None:
            for name, text in files.items():
                self.stdout.write(f"# --- {name}\n{text}")
            return
        folder = Path(output)
        if not folder.is_dir():
            raise CommandError(_("%s is no folder. Make it first.") % folder)
        for name, text in files.items():
            try:
                (folder / name).write_text(text, encoding="utf-8")
            except OSError as error:
                raise CommandError(f"{folder / name}: {error.strerror}") from None
        self.stdout.write(
            _("%(count)s files written to %(folder)s.") % {"count": len(files), "folder": folder}
        )


def check_same(variables: Path) -> None:
    """Raise CommandError where the service would read another folder or zone there than this command has: the units
    would let it write to a folder that is not its own. A file that is not there yet says nothing.
    """
    try:
        lines = variables.read_text(encoding="utf-8").splitlines()
    except OSError:
        return
    for line in lines:
        name, _sign, stated = line.strip().partition("=")
        here = str(getattr(settings, name)) if name in ("DATA_DIR", "TIME_ZONE") else None
        there = " ".join(shlex.split(stated)) if here else ""
        if here and there != here:
            told = {"name": name, "file": variables, "there": there, "here": here}
            raise CommandError(
                _(
                    "%(name)s is %(there)s in %(file)s and %(here)s here. Read the file first: "
                    "set -a; . %(file)s; set +a"
                )
                % told
            )
