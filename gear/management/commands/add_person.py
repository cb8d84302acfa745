"""Adds a person from the console: the first administrator of a new installation, above all."""

from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction
from django.utils.translation import gettext as _

from gear.actions import people
from gear.actions.acting import Act, Refused
from gear.management.passwords import new_password
from gear.models import ROLES, Crew, Depot


class Command(BaseCommand):
    help = (
        "Adds a person who may sign in. The password is asked for, or taken from PASSWORD in the environment."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username", help="what the person types to sign in; it never changes")
        parser.add_argument("--role", choices=ROLES, required=True)
        parser.add_argument("--first-name", default="")
        parser.add_argument("--last-name", default="")
        parser.add_argument("--email", default="")
        parser.add_argument("--crew", default="", help="name of a crew on file")
        parser.add_argument("--depot", default="", help="name of a depot on file")
        parser.add_argument("--dry-run", action="store_true", help="only say whether it could be done")

    def handle(self, *args: Any, **options: Any) -> None:
        details = people.Details(
            role=options["role"],
            first_name=options["first_name"],
            last_name=options["last_name"],
            email=options["email"],
            crew=_on_file(Crew, options["crew"]),
            depot=_on_file(Depot, options["depot"]),
        )
        password = new_password()
        try:
            with transaction.atomic():
                added = people.add(
                    options["username"], details=details, password=password, act=Act(None, via="system")
                )
                transaction.set_rollback(options["dry_run"])
        except (Refused, ValidationError) as problem:
            raise CommandError(_sentences(problem)) from None
        words = _("%(name)s could be added.") if options["dry_run"] else _("%(name)s was added.")
        self.stdout.write(words % {"name": added.username})


def _on_file(model: Any, name: str) -> Any:
    if not name:
        return None
    found = model.objects.filter(name=name).first()
    if found is None:
        raise CommandError(
            _("There is no %(kind)s named %(name)s.") % {"kind": model.__name__.lower(), "name": name}
        )
    return found


def _sentences(problem: Exception) -> str:
    return " ".join(problem.messages) if isinstance(problem, ValidationError) else str(problem)
