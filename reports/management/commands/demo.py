"""The demo: an invented co-operative in a fresh embedded database, then served on this machine alone."""

from __future__ import annotations

import json
import os
import sys
import time
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.utils import timezone

from fixtures.demo import people
from gear.models import ROLE_NAMES
from gear.rules.moments import local_day
from reports.actions import demo

MARK = "demo_people.json"


class Command(BaseCommand):
    help = __doc__
    requires_system_checks: list[str] = []

    def add_arguments(self, parser) -> None:
        parser.add_argument("--load-only", action="store_true", help="fill the database and stop")
        parser.add_argument("--port", default="8000", help="where to serve, on 127.0.0.1")

    def handle(self, *, load_only: bool, port: str, **_options) -> None:
        if not settings.DEMO:
            self._start_again_as_demo()
        self._empty()
        began = time.perf_counter()
        call_command("migrate", verbosity=0)
        counted = demo.load(local_day(timezone.now(), timezone.get_default_timezone()))
        self._mark()
        self.stdout.write(
            f"DEMO of {people.UTILITY}: {counted['items']} items, {counted['entries']} entries,"
            f" loaded in {time.perf_counter() - began:.0f} s."
        )
        if not load_only:
            self.stdout.write(
                f"Open http://127.0.0.1:{port}/  Who signs in and how stands on the login page."
            )
            call_command("runserver", f"127.0.0.1:{port}", use_reloader=False)

    @staticmethod
    def _start_again_as_demo() -> None:
        """The same command with the settings of a demo: its own folder, its own database, the word DEMO everywhere."""
        environment = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
        environment["DEMO"] = "on"
        environment["DATA_DIR"] = str(Path(settings.DATA_DIR) / "demo")
        sys.stdout.flush()
        os.execve(sys.executable, [sys.executable, *sys.argv], environment)  # noqa: S606  no shell is wanted

    def _empty(self) -> None:
        """Remove the demo of another day; anything else in this place is not ours to remove."""
        database = Path(str(connection.settings_dict["NAME"]))
        if not database.exists() or database.stat().st_size == 0:
            return
        if not (settings.DATA_DIR / MARK).exists():
            raise CommandError(
                f"{database} holds something that is not a demo. Set DATA_DIR to another folder."
            )
        connection.close()
        for path in (database, Path(f"{database}-wal"), Path(f"{database}-shm"), Path(f"{database}-journal")):
            path.unlink(missing_ok=True)

    @staticmethod
    def _mark() -> None:
        """Who may sign in, for the login page of the demo and nowhere else."""
        cast = [
            {"username": one.username, "name": one.name, "role": f"{ROLE_NAMES[one.role]}: {one.does}",
             "password": people.PASSWORD}
            for one in people.CAST
        ]  # fmt: skip
        (settings.DATA_DIR / MARK).write_text(json.dumps(cast), encoding="utf-8")
