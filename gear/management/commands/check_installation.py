"""manage.py check_installation: what is wrong with this installation, and what to do, in plain words."""

from __future__ import annotations

import json
import textwrap
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.core.validators import validate_email
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear.management import premises
from gear.queries import health
from gear.queries.health import AMBER, RED, WELL, Finding

WORDS = {RED: _("WRONG"), AMBER: _("LOOK"), WELL: _("well")}
EXIT = {RED: 2, AMBER: 1, WELL: 0}
WIDTH = 100


class Command(BaseCommand):
    help = (
        "Looks at settings, database, files, disk, clock, people, mail server, labels, seals, backups and nightly "
        "work, and says in plain words what is wrong and what to do. Changes nothing. Exit status 0: all well, "
        "1: something to look at, 2: something wrong."
    )
    requires_system_checks: list[str] = []  # what they find is told here, among the rest

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--format", choices=("text", "json"), default="text")
        parser.add_argument(
            "--send-test", metavar="ADDRESS", default="", help="also mails a test to this address"
        )

    def handle(self, *, format: str, send_test: str, **_options: Any) -> None:  # noqa: A002 - the option's name
        if send_test:
            try:
                validate_email(send_test)
            except ValidationError:
                raise CommandError(_("%s is no mail address.") % send_test, returncode=2) from None
        found = health.worst_first(
            [
                *premises.check_files(),
                *health.findings(timezone.now()),
                *premises.check_labels(),
                *premises.check_mail(send_to=send_test),
            ]
        )
        worst = found[0].level
        if format == "json":
            self.stdout.write(json.dumps(_as_json(found, worst), indent=1, ensure_ascii=False))
        else:
            for line in _as_text(found):
                self.stdout.write(line)
        if EXIT[worst]:
            raise SystemExit(EXIT[worst])


def _as_json(found: list[Finding], worst: str) -> dict[str, Any]:
    keys = ("code", "level", "title", "sentence")
    return {
        "base_url": settings.BASE_URL,
        "worst": worst,
        "findings": [
            {key: str(getattr(one, key)) for key in keys} | {"at": one.at.isoformat() if one.at else None}
            for one in found
        ],
    }


def _as_text(found: list[Finding]) -> list[str]:
    lines = [f"{settings.SITE_NAME}, {settings.BASE_URL}, {settings.DATA_DIR}", ""]
    indent = " " * 7
    for one in found:
        at = f" ({timezone.localtime(one.at):%Y-%m-%d %H:%M %Z})" if one.at else ""
        text = f"{WORDS[one.level]:<6} {one.title}: {one.sentence}{at}"
        lines += textwrap.wrap(
            text, WIDTH, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
        )
    wrong, look = (sum(one.level == level for one in found) for level in (RED, AMBER))
    told = [
        ngettext("%(count)d thing is wrong", "%(count)d things are wrong", wrong) % {"count": wrong},
        ngettext("%(count)d is to be looked at", "%(count)d are to be looked at", look) % {"count": look},
    ]
    return [*lines, "", f"{', '.join(told)}." if wrong or look else _("All is well.")]
