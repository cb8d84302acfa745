"""manage.py orphan_photos: files of photos that no record names."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from gear.actions.photos import orphans, remove_orphans


class Command(BaseCommand):
    help = (
        "Lists files of photos that no record names and that are a day old: what a crash leaves behind between "
        "storing a file and recording it. With --remove they are deleted; no record loses anything by that."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--remove", action="store_true", help="deletes them")

    def handle(self, *, remove: bool, **_options: Any) -> None:
        for path in remove_orphans() if remove else orphans():
            self.stdout.write(path)
