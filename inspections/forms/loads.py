"""The lines of a load list, the class of a truck, and why a list changed."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear.forms.strict import PlainForm, choice_field, text_field
from gear.models import KIND_NAMES
from gear.rules.gearbook import ANY_LENGTH
from inspections.models import TruckClass
from inspections.rules.loadlist import LARGEST, LONGEST, Line, leasts

KINDS = [("", gettext_lazy("no line")), *KIND_NAMES.items()]


class LoadLineForm(PlainForm):
    """One line; without a kind there is none."""

    kind = forms.ChoiceField(label=gettext_lazy("Kind"), choices=KINDS, required=False)
    least = forms.ChoiceField(label=gettext_lazy("Class or cable, at least"), choices=(), required=False)
    size = text_field(gettext_lazy("Size, as marked"), most=20, required=False)
    length_mm = forms.IntegerField(
        label=gettext_lazy("Length, at least, mm"),
        required=False,
        min_value=ANY_LENGTH[0],
        max_value=ANY_LENGTH[1],
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    count = forms.IntegerField(
        label=gettext_lazy("How many"),
        required=False,
        min_value=1,
        max_value=LARGEST,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        words = dict.fromkeys(one for kind in KIND_NAMES for one in leasts(kind))
        self.fields["least"].choices = [("", _("any")), *((one, one) for one in words)]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        kind = cleaned.get("kind")
        if kind and not cleaned.get("count") and "count" not in self.errors:
            self.add_error("count", _("Say how many."))
        if kind and cleaned.get("least") and cleaned["least"] not in leasts(kind):
            self.add_error("least", _("This kind of item has no such class or cable size."))
        return cleaned

    def line(self) -> Line | None:
        stated = self.cleaned_data
        if not stated.get("kind"):
            return None
        return Line(
            stated["kind"], stated["count"], stated["least"] or "", stated["size"] or "", stated["length_mm"]
        )


LoadLineFormSet = forms.formset_factory(LoadLineForm, extra=3, max_num=LONGEST, validate_max=True)


class ClassForm(PlainForm):
    """A new class of trucks."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    name = text_field(
        gettext_lazy("Name of the class"),
        most=80,
        help_text=gettext_lazy("For example: rubber-glove bucket."),
    )


class ListChangeForm(PlainForm):
    """Why a list changes; `seen` is the version that is changed."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    seen = forms.IntegerField(widget=forms.HiddenInput, min_value=0)
    reason = text_field(gettext_lazy("Why it changes"), most=500, required=False)


class FittingForm(PlainForm):
    """The class of one truck."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    truck_class = choice_field(gettext_lazy("Class"), (), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.classes = {str(one.pk): one for one in TruckClass.objects.order_by("name")}
        self.fields["truck_class"].choices = [
            ("", _("none")),
            *((pk, one.name) for pk, one in self.classes.items()),
        ]

    @property
    def chosen(self) -> TruckClass | None:
        return self.classes.get(self.cleaned_data.get("truck_class") or "")
