"""Who is mailed, at which hours, and a mail to try it."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from gear.forms.strict import PlainForm
from gear.models import Depot, User
from gear.permissions import bound_to

HOURS = [(hour, f"{hour:02d}:00") for hour in range(24)]


class AddressForm(PlainForm):
    """An address, and whose report it gets."""

    prefix = "list"
    address = forms.EmailField(label=_("Address"), max_length=254)
    depot = forms.ModelChoiceField(
        Depot.objects.none(), label=_("Gets the report of"), required=False, empty_label=_("the whole book")
    )

    def __init__(self, *args: Any, by: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field, bound = self.fields["depot"], bound_to(by)
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = Depot.objects.order_by("name")
        if bound is not None:
            field.queryset, field.empty_label, field.required = Depot.objects.filter(pk=bound.pk), None, True


class PlanForm(PlainForm):
    """The hours, in the site's zone."""

    prefix = "plan"
    monday_hour = forms.TypedChoiceField(label=_("Report due on Monday at"), choices=HOURS, coerce=int)
    quiet_from = forms.TypedChoiceField(label=_("Quiet from"), choices=HOURS, coerce=int)
    quiet_until = forms.TypedChoiceField(label=_("Quiet until"), choices=HOURS, coerce=int)


class TrialForm(PlainForm):
    """Where the test mail goes."""

    prefix = "test"
    address = forms.EmailField(label=_("Send a test mail to"), max_length=254)
