"""Gives a person a new password from the console, for the day the administrator's own is lost."""

import logging
from getpass import getuser
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction
from django.utils.translation import gettext as _

from gear.actions import people
from gear.actions.acting import Act
from gear.management.passwords import new_password
from gear.models import User

log = logging.getLogger(__name__)


class Command(BaseCommand):
    help = (
        "Gives a person a new password and ends their sessions; kept in the record as done by command."
        " The password is asked for, or taken from PASSWORD in the environment."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username")
        parser.add_argument("--dry-run", action="store_true", help="only say whether it could be done")

    def handle(self, *args: Any, **options: Any) -> None:
        person = User.objects.filter(username=options["username"]).first()
        if person is None:
            raise CommandError(_("There is nobody with the username %s.") % options["username"])
        password = new_password()
        try:
            with transaction.atomic():
                people.set_password(person, password=password, act=Act(None, via="system"))
                transaction.set_rollback(options["dry_run"])
        except ValidationError as problem:
            raise CommandError(" ".join(problem.messages)) from None
        if options["dry_run"]:
            self.stdout.write(_("%s could be given this password.") % person.username)
            return
        # Beside the entry, for whoever watches the log of this machine: it names the account that ran the command.
        log.warning("Security: %s was given a new password by command, by %s", person.username, getuser())
        self.stdout.write(_("%s has a new password; their sessions have ended.") % person.username)
        if not person.is_active:
            self.stdout.write(_("The account is deactivated: another administrator must reactivate it."))
