"""May this piece be used? The answer by item number or label code, as text or as one JSON object a line."""

import json
from collections.abc import Iterable
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError
from django.utils.translation import gettext as _

from gear import queries
from gear.rules.readiness import Answer

WRONG_USE = 2  # exit status, as for any wrong option


class Command(BaseCommand):
    help = "Says whether items may be used, as of a day or moment and as known at a moment."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("items", nargs="*", metavar="ITEM", help="item number or label code")
        parser.add_argument("--all", action="store_true", help="every item in the book, by item number")
        parser.add_argument(
            "--as-of",
            default="",
            metavar="DATE|MOMENT",
            help="the end of that day at the site (2026-10-02), or a moment with its offset"
            " (2026-10-02T05:45:00-04:00); today when not given",
        )
        parser.add_argument(
            "--known-at",
            default="",
            metavar="MOMENT",
            help="only what was recorded by then; now when not given",
        )
        parser.add_argument("--format", choices=("text", "json"), default="text")

    def handle(self, *args: Any, **options: Any) -> None:
        texts, everything = options["items"], options["all"]
        if bool(texts) == everything:
            raise CommandError(
                _("Name one or more items, or give --all for the whole book."), returncode=WRONG_USE
            )
        try:
            asked = queries.question_in(options["as_of"], known_at=options["known_at"])
        except queries.BadQuestion as error:
            option = {"as_of": "--as-of", "known_at": "--known-at"}[error.field]
            raise CommandError(f"{option}: {error}", returncode=WRONG_USE) from None
        try:
            for answer in _found(texts, asked):
                self.stdout.write(
                    json.dumps(queries.as_json(answer, asked), ensure_ascii=False)
                    if options["format"] == "json"
                    else queries.as_text(answer)
                )
        except DatabaseError as error:
            raise CommandError(
                _(
                    "The database cannot be read, so nothing is known: %s. Run manage.py migrate, or see DATABASE_URL."
                )
                % str(error).strip()
            ) from None


def _found(texts: list[str], asked: queries.Question) -> Iterable[Answer]:
    """The answers to the texts, or to the whole book where there are none."""
    if not texts:
        return queries.everything(asked)
    return queries.answers_to(texts, asked, base_url=settings.BASE_URL)
