"""manage.py verify_ledger: is the record what was recorded?"""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError, connection
from django.utils.translation import gettext as _

from gear.ledger import integrity
from gear.ledger.seals import Anchor, last_seal
from gear.ledger.tampering import VerifierBroken
from gear.ledger.verify import verify
from gear.management.seals import anchor
from gear.models import Entry, Item


class Command(BaseCommand):
    help = (
        "Recomputes every hash, count and seal of the record and says what is not as it was recorded. Answers about "
        "items whose record is broken are `unknown` from then on. The exit status is 0 only when all is well."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--anchor",
            type=anchor,
            action="append",
            default=[],
            metavar="NUMBER:HASH",
            help="a seal from a printed or mailed report, to compare with; may be given more than once. Without one, "
            "a record rewritten as a whole, or cut together with its newest seals, cannot be told from the true one.",
        )
        parser.add_argument(
            "--files",
            action="store_true",
            help="also reads every photo and compares it with the hash that was kept of it",
        )
        parser.add_argument(
            "--database",
            action="store_true",
            help="looks at the file of the embedded database alone, in seconds: for the start of the service",
        )
        parser.add_argument("--format", choices=("text", "json"), default="text")

    def handle(
        self,
        *,
        anchor: list[Anchor],
        format: str,  # noqa: A002 - the option's name
        files: bool = False,
        database: bool = False,
        **_options: Any,
    ) -> None:
        if database:
            self._look_at_file()
            return
        try:
            problems = verify(anchor, files=files)
        except VerifierBroken as error:
            raise CommandError(str(error), returncode=2) from error
        seal = last_seal()
        found = {
            "ok": not problems,
            "items": Item.objects.count(),
            "entries": Entry.objects.count(),
            "last_seal": f"{seal.number}:{seal.hash}" if seal else None,
            "anchors": [f"{one.number}:{one.hash}" for one in anchor],
            "problems": [vars(problem) for problem in problems],
        }
        self.stdout.write(json.dumps(found, indent=1) if format == "json" else _as_text(found))
        if problems:
            raise CommandError(
                _("The record is not what was recorded: %(count)s problems.") % {"count": len(problems)}
            )

    def _look_at_file(self) -> None:
        damaged = integrity.file_problems()
        if damaged:
            self._mark()
        problems = damaged or list(integrity.stray_problems())
        for problem in problems:
            self.stdout.write(f"{problem.code}  {problem.sentence}")
        if problems:
            raise CommandError(_("The database is not whole: %(count)s problems.") % {"count": len(problems)})
        self.stdout.write(
            _("The database file is whole.")
            if connection.vendor == "sqlite"
            else _("PostgreSQL checks its own pages where its data_checksums are on; read its log.")
        )

    def _mark(self) -> None:
        try:
            integrity.answer_nothing()
        except DatabaseError as error:
            told = _(
                "It takes no mark either (%s): stop the service now, or it may go on answering from this file."
            )
            self.stderr.write(told % error)


def _as_text(found: dict[str, Any]) -> str:
    lines = [f"{problem['code']}  {problem['sentence']}" for problem in found["problems"]]
    if found["ok"]:
        lines.append(
            _("All is well: %(entries)s entries of %(items)s items and all seals are as they were recorded.")
            % found
        )
    lines.append(
        _("Last seal: %(last_seal)s") % found if found["last_seal"] else _("Nothing was sealed yet.")
    )
    if found["last_seal"] and not found["anchors"]:
        lines.append(_("No printed seal was compared (--anchor NUMBER:HASH)."))
    return "\n".join(lines)
