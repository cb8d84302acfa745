"""Forms of the register of instruments, and of a trace forward from a bad one."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from gear.forms.strict import NOT_CHOSEN, PlainForm, choice_field, day_field, text_field
from inspections.actions.instruments import Certificate
from inspections.models import INSTRUMENT_KIND_NAMES

AS_FOUND = (("yes", _("In tolerance")), ("no", _("Out of tolerance")))


class InstrumentForm(PlainForm):
    id = forms.UUIDField(widget=forms.HiddenInput)
    name = text_field(
        _("Name"),
        most=80,
        help_text=_(
            "As it stands in the tests, for example on the meter: tests find it by this name. It never changes."
        ),
    )
    kind = choice_field(_("Kind"), (NOT_CHOSEN, *INSTRUMENT_KIND_NAMES.items()))
    note = text_field(_("Note"), required=False)


class CalibrationForm(PlainForm):
    """What the certificate says. There is no field for a verdict on any test."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    calibrated_on = day_field(_("Calibrated on"))
    good_through = day_field(
        _("Good through"),
        required=False,
        help_text=_(
            "The last day it counts. Leave it empty only where the instrument was not given back for use: "
            "every later test made with it is then void."
        ),
    )
    in_tolerance = choice_field(_("As found, before anything was adjusted"), AS_FOUND, radio=True)
    as_found = text_field(
        _("What was found"), required=False, help_text=_("Needed where it was out: how far, and at what.")
    )
    certificate_no = text_field(_("Certificate number"), most=80, required=False)
    calibrated_by = text_field(_("Calibrated by"), most=80, required=False)

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["calibrated_on"] = day_field(_("Calibrated on"), not_after=today)

    def certificate(self) -> Certificate:
        """What was filled in."""
        stated = self.cleaned_data
        return Certificate(
            stated["calibrated_on"],
            stated.get("good_through"),
            stated["in_tolerance"] == "yes",
            *(stated.get(name) or "" for name in ("as_found", "certificate_no", "calibrated_by")),
        )


class WithdrawForm(PlainForm):
    id = forms.UUIDField(widget=forms.HiddenInput)
    reason = text_field(_("Why is it withdrawn?"), most=400)


class TraceForm(PlainForm):
    """The day on which an instrument was found wrong."""

    found_on = day_field(_("Found wrong on"))

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["found_on"] = day_field(_("Found wrong on"), not_after=today)
