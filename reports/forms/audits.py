"""Who went round with a sheet, and when."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy

from gear.forms.strict import PlainForm, day_field, text_field


class LookedForm(PlainForm):
    """What all results of one sheet share; what was found of each piece stands in the rows."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    looked_by = text_field(gettext_lazy("Looked at by"), most=120)
    looked_on = day_field(gettext_lazy("On"))
