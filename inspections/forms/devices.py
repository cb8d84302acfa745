"""Forms about phones and tablets."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from gear.forms.people import Plain
from gear.models import Depot, User
from gear.permissions import bound_to
from gear.queries import people as reads


class TabletForm(Plain):
    """A shared tablet: a name that people will know it by, and where it stands."""

    name = forms.CharField(
        label=_("Name"), max_length=80, help_text=_("As it is written on the tablet, for example Tablet 3.")
    )
    depot = forms.ModelChoiceField(
        Depot.objects.none(), label=_("Depot"), required=False, empty_label=_("none")
    )

    def __init__(self, *args: Any, by: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["depot"].queryset = reads.depots_in(bound_to(by))  # type: ignore[attr-defined]
        if bound_to(by):
            self.fields["depot"].required = True
