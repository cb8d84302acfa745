"""The form that answers for a restored record."""

from __future__ import annotations

import re

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from gear.forms.people import Plain, password_field
from gear.queries.restored import as_seal


class AcceptForm(Plain):
    """A seal, or a reason; and the password once more."""

    seal = forms.CharField(
        label=_("The newest seal that you hold outside"),
        required=False,
        max_length=80,
        help_text=_(
            "NUMBER:HASH, from a printed or mailed report; the first 16 symbols of the hash are enough."
        ),
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )
    reason = forms.CharField(
        label=_("Or, without a seal: why you answer for what may be missing"),
        required=False,
        max_length=400,
        help_text=_("Kept in the record with your name."),
    )
    current = password_field(
        _("Your password, once more"), new=False, help_text=_("This decides about everybody's gear.")
    )

    def clean_seal(self) -> object:
        typed = re.sub(r"\s", "", self.cleaned_data["seal"])
        if not typed:
            return None
        if (seal := as_seal(typed)) is None:
            raise ValidationError(
                _("Write it as printed: the number, a colon, and at least 16 symbols of the hash.")
            )
        return seal
