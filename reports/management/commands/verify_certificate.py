"""manage.py verify_certificate: is a certificate what it was when it was printed? Without the database."""

from __future__ import annotations

import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from reports.rules import certificate_check


class Command(BaseCommand):
    help = (
        "Checks a test certificate (PDF, or the JSON attached to it) by what it carries: that facts, entries, hashes "
        "and code belong together, and with --seal that the entries were in the record when that seal was printed. "
        "Asks no database, and so tells of no later correction: the page /certificates/check/ does. "
        "reports/rules/certificate_check.py is the same program, complete in itself. "
        "Exit status: 0 as certified, 1 not, 2 no certificate."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", help="the certificate as a PDF, or what is attached to it")
        parser.add_argument(
            "--seal",
            metavar="NUMBER:HASH",
            default="",
            help="a seal that was printed or mailed at the time",
        )

    def handle(self, *, file: str, seal: str, **_options: Any) -> None:
        sys.exit(certificate_check.main([file, *(["--seal", seal] if seal else [])]))
