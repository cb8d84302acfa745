"""What is overdue and where, as of a day: JSON, CSV, HTML, PDF or a workbook, to a file or to standard output."""

from __future__ import annotations

import io
import json
import os
import secrets
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear.queries import BadQuestion, question_in
from reports import queries
from reports.pdf import PAPERS, NotSet, weekly_html, weekly_pdf
from reports.rules.overdue import DoesNotReconcile, OverdueReport, Scope
from reports.spreadsheets import csv_lines, write_workbook
from reports.wording import Weekly, as_json

NOT_ALL_WELL = (
    1  # exit status: nothing was made, or what was made lists items whose record cannot be relied upon
)
WRONG_USE = 2  # exit status, as for any wrong option
FORMATS = ("json", "csv", "html", "pdf", "xlsx")
BINARY = ("pdf", "xlsx")


class Command(BaseCommand):
    help = (
        "Lists what is not good and where it is, and what falls due within 28 days, as of the end of a day."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--as-of",
            default="",
            metavar="DATE",
            help="the end of that day at the site (2026-10-02); today when not given",
        )
        parser.add_argument("--format", choices=FORMATS, default="json")
        parser.add_argument("--paper", choices=PAPERS, default=PAPERS[0], help="for html and pdf")
        parser.add_argument(
            "-o",
            "--output",
            metavar="FILE",
            help="written whole or not at all; standard output when not given",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        week = _week(options["as_of"])
        try:
            content = _content(week, options["format"], paper=options["paper"])
        except NotSet as error:
            raise CommandError(f"{error}\n{error.detail}", returncode=NOT_ALL_WELL) from None
        if options["output"]:
            _write(Path(options["output"]), content)
        else:
            self._print(content, binary=options["format"] in BINARY)
        if week.report.all_faulty:
            raise CommandError(_faulty(week.report), returncode=NOT_ALL_WELL)

    def _print(self, content: bytes, *, binary: bool) -> None:
        if not binary:
            self.stdout.write(content.decode("utf-8"), ending="")
            return
        output: Any = self.stdout
        if output.isatty():
            raise CommandError(
                _("This format is not for a terminal. Name a file with -o."), returncode=WRONG_USE
            )
        output.buffer.write(content)
        output.buffer.flush()


def _week(as_of: str) -> Weekly:
    try:
        return queries.weekly(question_in(as_of), scope=Scope())
    except BadQuestion as error:
        raise CommandError(f"--as-of: {error}", returncode=WRONG_USE) from None
    except DoesNotReconcile as error:
        raise CommandError(
            _("The report does not account for every item, so it was not made: %s Run verify_ledger.")
            % error,
            returncode=NOT_ALL_WELL,
        ) from None


def _content(week: Weekly, wanted: str, *, paper: str) -> bytes:
    if wanted == "json":
        return (json.dumps(as_json(week.report), ensure_ascii=False, indent=2) + "\n").encode()
    if wanted == "csv":
        return "".join(csv_lines(week.report)).encode()
    if wanted == "html":
        return weekly_html(week, paper=paper).encode()
    if wanted == "pdf":
        return weekly_pdf(week, paper=paper)
    workbook = io.BytesIO()
    write_workbook(week.report, workbook)
    return workbook.getvalue()


def _write(target: Path, content: bytes) -> None:
    """Put the whole content in place at once, or leave what was there."""
    if target.exists() and not target.is_file():
        raise CommandError(_("%s is not a file. Name another with -o.") % target, returncode=WRONG_USE)
    target = target.resolve()  # a link keeps leading to the file
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
            _("%(file)s cannot be written: %(why)s. Nothing was changed.")
            % {"file": target, "why": error.strerror or error},
            returncode=WRONG_USE,
        ) from None


def _faulty(report: OverdueReport) -> str:
    faulty = report.all_faulty
    count = len(faulty)
    sentence = ngettext(
        "The report is complete, but the record of %(count)d item cannot be relied upon: %(items)s.",
        "The report is complete, but the records of %(count)d items cannot be relied upon: %(items)s.",
        count,
    ) % {"count": count, "items": ", ".join(faulty[:20]) + (", ..." if count > 20 else "")}
    return f"{sentence} {_('They are listed as unknown. Run verify_ledger and rebuild_states --check.')}"
