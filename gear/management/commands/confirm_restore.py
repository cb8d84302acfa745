"""manage.py confirm_restore: answer for a restored record from the console."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation import gettext as _

from gear.actions import restored
from gear.actions.acting import Act, Refused
from gear.ledger.seals import Anchor
from gear.management.seals import anchor
from gear.models import User
from gear.permissions import NotAllowed


class Command(BaseCommand):
    help = (
        "Ends the state in which every answer is `unknown` after a restore: with the newest seal that is held outside, "
        "or with the name of an administrator and a reason. Either is kept in the record."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--by", required=True, metavar="USERNAME", help="the administrator who answers for it"
        )
        how = parser.add_mutually_exclusive_group(required=True)
        how.add_argument("--seal", type=anchor, metavar="NUMBER:HASH", help="the newest seal held outside")
        how.add_argument("--reason", default="", help="why you answer for what may be missing")

    def handle(self, *, by: str, seal: Anchor | None, reason: str, **_options: Any) -> None:
        person = User.objects.filter(username=by).first()
        if person is None:
            raise CommandError(_("There is nobody with the username %s.") % by)
        try:
            restored.accept(seal=seal, reason=reason, password=None, act=Act(person, via="system"))
        except (Refused, NotAllowed) as problem:
            raise CommandError(str(problem)) from None
        self.stdout.write(_("The record counts again, on the answer of %s.") % person.name)
