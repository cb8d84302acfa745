"""Write the papers for a day without power or network: one PDF for each truck."""

from __future__ import annotations

import os
import secrets
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear.models import Holder
from gear.queries import BadQuestion, question, question_in
from inspections.queries import loads
from reports.pdf import PAPERS, NotSet
from reports.pdf.loadsheet import fallback_pack_pdf
from reports.views.loadsheet import pack_of

NOT_ALL_WELL = 1  # exit status: some pack was not made
WRONG_USE = 2


class Command(BaseCommand):
    help = "Writes a PDF for each truck: every piece with its code, its last day, its answer and lines to write on."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--truck", action="append", default=[], metavar="T-12", help="this truck; may be given again"
        )
        parser.add_argument(
            "--as-of",
            default="",
            metavar="DATE",
            help="a day from today on (2026-10-02); today when not given",
        )
        parser.add_argument("--paper", choices=PAPERS, default=PAPERS[0])
        parser.add_argument("-o", "--output", required=True, metavar="FOLDER", help="an existing folder")

    def handle(self, *args: Any, **options: Any) -> None:
        folder = Path(options["output"])
        if not folder.is_dir():
            raise CommandError(_("%s is no folder. Make it first.") % folder, returncode=WRONG_USE)
        try:
            asked = question_in(options["as_of"])
        except BadQuestion as error:
            raise CommandError(f"--as-of: {error}", returncode=WRONG_USE) from None
        if not asked.current or not asked.whole_day:
            raise CommandError(
                _("--as-of: give a day from %s on. For a day that is past, ask manage.py answer.")
                % question().as_of,
                returncode=WRONG_USE,
            )
        failed = []
        trucks = _trucks(options["truck"])
        for truck in trucks:
            try:
                content = fallback_pack_pdf([pack_of(truck, asked.as_of)], paper=options["paper"])
            except NotSet as error:
                failed.append(f"{truck.name}: {error.detail}")
                continue
            _write(folder / f"fallback-{truck.name}-{asked.as_of}.pdf", content)
        made = len(trucks) - len(failed)
        self.stdout.write(
            ngettext("%(count)d pack written to %(folder)s.", "%(count)d packs written to %(folder)s.", made)
            % {"count": made, "folder": folder}
        )
        if failed:
            raise CommandError("\n".join(failed), returncode=NOT_ALL_WELL)


def _trucks(named: list[str]) -> list[Holder]:
    found = list(loads.trucks())
    if not named:
        return found
    chosen = [one for one in found if one.name in named]
    if unknown := sorted(set(named) - {one.name for one in chosen}):
        raise CommandError(_("There is no truck %s in use.") % ", ".join(unknown), returncode=WRONG_USE)
    return chosen


def _write(target: Path, content: bytes) -> None:
    """Put the whole file in place at once, or leave what was there."""
    part = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    try:
        with part.open("xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(target)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise CommandError(
            _("%(file)s cannot be written: %(why)s.") % {"file": target, "why": error.strerror or error},
            returncode=WRONG_USE,
        ) from None
