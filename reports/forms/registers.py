"""The days that a register is narrowed to."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear.forms.strict import PlainForm, day_field
from reports.queries.registers import Period


class PeriodForm(PlainForm):
    """First and last day of recording, both counted; empty is open."""

    first = day_field(gettext_lazy("Recorded from"), required=False)
    last = day_field(gettext_lazy("Recorded through"), required=False)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        first, last = cleaned.get("first"), cleaned.get("last")
        if first and last and last < first:
            self.add_error("last", _("This day lies before the first one."))
        return cleaned

    def period(self) -> Period:
        return Period(self.cleaned_data.get("first"), self.cleaned_data.get("last"))
