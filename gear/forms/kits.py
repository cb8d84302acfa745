"""The lines of the kit, and the day on which somebody leaves."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear.forms.strict import PlainForm, day_field
from gear.models import KIND_NAMES
from gear.rules.gearbook import CLASSES
from gear.rules.kits import LARGEST, LONGEST, Need

KINDS = [("", gettext_lazy("no line")), *KIND_NAMES.items()]


class KitLineForm(PlainForm):
    """One line; without a kind there is none."""

    kind = forms.ChoiceField(label=gettext_lazy("Kind"), choices=KINDS, required=False)
    cls = forms.ChoiceField(label=gettext_lazy("Class"), choices=(), required=False)
    count = forms.IntegerField(
        label=gettext_lazy("How many"),
        required=False,
        min_value=1,
        max_value=LARGEST,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        classes = sorted({one for words in CLASSES.values() for one in words if one})
        self.fields["cls"].choices = [("", _("any")), *((one, one) for one in classes)]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("kind") and not cleaned.get("count") and "count" not in self.errors:
            self.add_error("count", _("Say how many."))
        return cleaned

    def need(self) -> Need | None:
        stated = self.cleaned_data
        return Need(stated["kind"], stated["cls"], stated["count"]) if stated.get("kind") else None


KitFormSet = forms.formset_factory(KitLineForm, extra=3, max_num=LONGEST, validate_max=True)


class LeavingForm(PlainForm):
    on = day_field(
        gettext_lazy("Leaves on"), required=False, help_text=gettext_lazy("Empty: stays, or stays after all.")
    )
