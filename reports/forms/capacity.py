"""The form by which a week's capacity is stated."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear.forms.strict import NOT_CHOSEN, PlainForm, choice_field, day_field, text_field
from gear.models import HOLDER_NAMES, KIND_NAMES, Holder
from reports.actions.capacity import MOST, PLACES


class CapacityForm(PlainForm):
    """Where, of which kind, how many, and in which weeks; any day of a week names it."""

    place = forms.ModelChoiceField(
        Holder.objects.none(), label=gettext_lazy("Bench or lab"), empty_label=NOT_CHOSEN[1]
    )
    kind = choice_field(gettext_lazy("Kind"), (), required=False)
    pieces = forms.IntegerField(
        label=gettext_lazy("Pieces a week"),
        min_value=0,
        max_value=MOST,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        help_text=gettext_lazy("0 for a week in which it is closed."),
    )
    first = day_field(gettext_lazy("From the week of"), help_text=gettext_lazy("Any day of that week."))
    last = day_field(
        gettext_lazy("Through the week of"),
        required=False,
        help_text=gettext_lazy("Empty: from then on. A row with an end goes before one without."),
    )
    note = text_field(
        gettext_lazy("Note"), required=False, help_text=gettext_lazy("For example the holiday.")
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        place = self.fields["place"]
        place.queryset = Holder.objects.filter(kind__in=PLACES, active=True).order_by("kind", "name")
        place.label_from_instance = lambda one: f"{one.name} ({HOLDER_NAMES[one.kind]})"
        self.fields["kind"].choices = [("", _("everything together")), *KIND_NAMES.items()]
