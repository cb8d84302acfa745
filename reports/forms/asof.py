"""Which past report is made again: a day, and by when it must have been known."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear.forms.strict import PlainForm, day_field
from gear.queries import BadQuestion
from gear.queries.questions import moment_in, question


class AsOfForm(PlainForm):
    as_of = day_field(gettext_lazy("Report of the day"))
    known_at = forms.CharField(
        label=gettext_lazy("As known at"),
        required=False,
        max_length=40,
        help_text=gettext_lazy(
            "A moment with its offset, like 2026-09-14T06:00:00-04:00. Empty is the end of that day."
        ),
    )

    def clean_known_at(self) -> datetime | None:
        text = (self.cleaned_data.get("known_at") or "").strip()
        if not text:
            return None
        try:
            at = moment_in("known_at", text)
        except BadQuestion as error:
            raise forms.ValidationError(str(error)) from None
        if at > timezone.now():
            raise forms.ValidationError(_("This moment lies in the future."))
        return at

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        day = cleaned.get("as_of")
        if day is not None and day > timezone.localdate():
            self.add_error("as_of", _("This day lies in the future."))
        elif day is not None and cleaned.get("known_at") is None and "known_at" not in self.errors:
            cleaned["known_at"] = min(question(day).as_of_at, timezone.now())
        return cleaned
