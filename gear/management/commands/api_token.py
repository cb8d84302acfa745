"""Make or revoke a token with which a program acts for a person. The token is shown once and never again."""

from __future__ import annotations

import secrets

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from gear.api.tokens import digest
from gear.models import ApiToken, User


class Command(BaseCommand):
    help = __doc__

    def add_arguments(self, parser) -> None:
        parser.add_argument("username", help="the person for whom the program acts")
        parser.add_argument("--name", default="program", help="what uses it, for example bench-1")
        parser.add_argument("--revoke", action="store_true", help="revoke every token of this name")

    def handle(self, *, username: str, name: str, revoke: bool, **_options) -> None:
        person = User.objects.filter(username=username, is_active=True).first()
        if person is None:
            raise CommandError(
                f"There is no active person with the username {username}. Add the person first."
            )
        if revoke:
            count = ApiToken.objects.filter(person=person, name=name, revoked_at=None).update(
                revoked_at=timezone.now()
            )
            self.stdout.write(f"{count} token(s) named {name} revoked.")
            return
        secret = secrets.token_urlsafe(32)
        ApiToken.objects.create(person=person, name=name, digest=digest(secret), made_at=timezone.now())
        self.stdout.write(secret)
