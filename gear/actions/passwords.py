"""The password asked once more, before what decides for everybody is changed or a new password is chosen."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from gear.actions.refusals import FieldRefused
from gear.models import Refusal, User

MOST_TRIES = 5
WITHIN = timedelta(minutes=1)


class PasswordRefused(FieldRefused):
    """The password of the person who is signed in was not given."""

    SENTENCES = {
        "WRONG_PASSWORD": ("current", _("This is not your password.")),
        "TOO_MANY_TRIES": ("current", _("Too many tries. Wait a minute, then try again.")),
    }


def check_again(person: User, password: str) -> None:
    """Raise PasswordRefused unless it is the person's own password; a session left open must not be enough.

    The refusals that are kept anyway count the tries, so guessing through an open session is slow.
    """
    since = timezone.now() - WITHIN
    if Refusal.objects.filter(by=person, code="WRONG_PASSWORD", at__gte=since).count() >= MOST_TRIES:
        raise PasswordRefused("TOO_MANY_TRIES")
    if not person.check_password(password):
        raise PasswordRefused("WRONG_PASSWORD")
