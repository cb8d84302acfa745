"""Who did what on a shared tablet: each record is confirmed by its person."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _

from gear.models import User
from inspections.models import Device


class Unconfirmed(Exception):
    """The record is not confirmed by its person. It stays on the phone, to be confirmed again. `code` is stable."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


def person_confirmed(username: Any, proof: Any, device: Device) -> User:
    """The person who confirmed a record on a shared tablet. Raises Unconfirmed."""
    raise Unconfirmed("CONFIRM", _("Confirm this record again with your name and PIN."))
