"""A witness says with their own password or PIN that they saw it. Guessing is slow and leaves a trace."""

from __future__ import annotations

from django.contrib.auth.hashers import check_password
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from gear.actions import tries
from gear.actions.acting import Act, keeping_refusals
from gear.actions.refusals import FieldRefused
from gear.models import User

TRIES = 5  # for one witness, and by one person over all witnesses: at most 10 pass in any minute


class WitnessRefused(FieldRefused):
    """The witness did not confirm, or cannot."""

    SENTENCES = {
        "NO_WITNESS": ("witness", _("Name a witness: another person who is on the list of people.")),
        "OWN_WITNESS": (
            "witness",
            _("The witness must be another person than the one who destroys the item."),
        ),
        "WITNESS_NO_SECRET": (
            "witness",
            _("This person has neither a password nor a PIN. A supervisor gives them one."),
        ),
        "WITNESS_NOT_CONFIRMED": ("secret", _("This is not the password or PIN of the witness.")),
        "TOO_MANY_TRIES": ("secret", _("Too many tries. Wait a minute, then try again.")),
    }


def confirm(witness: User | None, secret: str, *, act: Act) -> User:
    """The witness, once it is certain that they are another person and gave their own password or PIN.

    Raises WitnessRefused, which is kept. Tries are counted in the database for all servers together, as those of
    signing in are: rows under unique keys that are only ever added.
    """
    with keeping_refusals("witness", witness.username if witness else "", act):
        if witness is None or not witness.is_active:
            raise WitnessRefused("NO_WITNESS")
        if act.by is None or witness.pk == act.by.pk:
            raise WitnessRefused("OWN_WITNESS")
        if not witness.has_usable_password() and not witness.pin:
            raise WitnessRefused("WITNESS_NO_SECRET")
    budgets = {f"witness of {witness.pk}": TRIES, f"witness by {act.by.pk}": TRIES}
    held = tries.take(budgets, now=timezone.now().timestamp())
    confirmed = held is not None and _is_theirs(witness, secret)
    with keeping_refusals("witness", witness.username, act):
        if held is None:
            raise WitnessRefused("TOO_MANY_TRIES")
        if not confirmed:
            raise WitnessRefused("WITNESS_NOT_CONFIRMED")
    tries.give_back(held)
    return witness


def _is_theirs(witness: User, secret: str) -> bool:
    return witness.check_password(secret) or bool(witness.pin and check_password(secret, witness.pin))
