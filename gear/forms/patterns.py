"""The question that a page of damage patterns answers."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear.forms.strict import PlainForm, choice_field, day_field, text_field
from gear.queries.described import kind_word
from gear.queries.patterns import Wanted
from gear.rules.places_on import PARTS


class PatternForm(PlainForm):
    """A kind that has a drawing; a model, a lot and days, all or none of them."""

    kind = choice_field(gettext_lazy("Kind"), ())
    model = text_field(gettext_lazy("Model"), most=80, required=False)
    lot = text_field(gettext_lazy("Lot"), most=60, required=False)
    first = day_field(gettext_lazy("Found from"), required=False)
    last = day_field(gettext_lazy("Found through"), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = [(kind, kind_word(kind)) for kind in PARTS]
        for name in ("model", "lot"):
            self.fields[name].widget.attrs["list"] = f"{name}s"

    def clean(self) -> dict[str, Any]:
        stated = super().clean() or {}
        first, last = stated.get("first"), stated.get("last")
        if first and last and last < first:
            self.add_error("last", _("This day lies before the first one."))
        return stated

    def wanted(self) -> Wanted:
        """What was asked for."""
        stated = self.cleaned_data
        return Wanted(
            stated["kind"], stated["model"] or "", stated["lot"] or "", stated["first"], stated["last"]
        )
