"""A new password for a command: from PASSWORD in the environment, or typed twice without being shown."""

from __future__ import annotations

import getpass
import os
import sys

from django.core.management.base import CommandError
from django.utils.translation import gettext as _


def new_password() -> str:
    """The password as given. Raises CommandError where none can be had."""
    if given := os.environ.get("PASSWORD", ""):
        return given
    if not sys.stdin.isatty():
        raise CommandError(_("No password: run this in a terminal, or set PASSWORD in the environment."))
    typed = getpass.getpass(_("New password: "))
    if typed != getpass.getpass(_("The same again: ")):
        raise CommandError(_("The two are not the same. Nothing was changed; start again."))
    if not typed:
        raise CommandError(_("An empty password is none. Nothing was changed; start again."))
    return typed
