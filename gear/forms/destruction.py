"""The form of a destruction batch: which pieces, how, and the witness who confirms it."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear.forms.acts import LONGEST_REASON, one_item
from gear.forms.people import password_field
from gear.forms.strict import NOT_CHOSEN, PlainForm, text_field
from gear.models import Item, User
from gear.queries import described
from gear.queries.picking import witnesses_for


class DestructionForm(PlainForm):
    """`pieces` are those that were ticked on the list, `scanned` what is scanned here; together one batch."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    pieces = forms.MultipleChoiceField(
        label=gettext_lazy("Pieces"), required=False, widget=forms.CheckboxSelectMultiple
    )
    scanned = forms.CharField(
        label=gettext_lazy("Scan or type further pieces"),
        required=False,
        max_length=20_000,
        widget=forms.Textarea(attrs={"rows": 4, "autocomplete": "off", "spellcheck": "false"}),
        help_text=gettext_lazy("Item numbers or label codes, one a line."),
    )
    reason = text_field(
        gettext_lazy("How were they destroyed, and why?"),
        most=LONGEST_REASON,
        help_text=gettext_lazy("For example: cut across cuff and palm."),
    )
    confirmed = forms.BooleanField(
        label=gettext_lazy("Every piece was cut up or broken so that nobody can ever use it again."),
        error_messages={
            "required": gettext_lazy("Tick this once all are destroyed. Until then they stay rejected.")
        },
    )
    witness = forms.ModelChoiceField(
        User.objects.none(),
        label=gettext_lazy("Who saw it?"),
        empty_label=NOT_CHOSEN[1],
        help_text=gettext_lazy("Another person than you."),
    )
    secret = password_field(
        gettext_lazy("Password or PIN of the witness"),
        new=False,
        help_text=gettext_lazy("The witness types it, not you."),
    )

    def __init__(self, *args: Any, by: User, item_nos: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = Item.objects.filter(item_no__in=item_nos).select_related("item_type").order_by("item_no")
        self.rows = {item.item_no: item for item in rows}
        if self.rows:
            field = self.fields["pieces"]
            field.choices = [(number, f"{number} {_heading(item)}") for number, item in self.rows.items()]
            field.initial = list(self.rows)
        else:
            del self.fields["pieces"]
        self.fields["secret"].widget.attrs["autocomplete"] = "off"
        self.fields["witness"].queryset = witnesses_for(by)
        self.fields["witness"].label_from_instance = lambda person: person.name

    def clean_scanned(self) -> list[Item]:
        typed = [one for one in re.split(r"[\r\n,;]+", self.cleaned_data["scanned"]) if one.strip()]
        return [one_item(one) for one in typed]

    def clean(self) -> dict[str, Any]:
        stated = super().clean() or {}
        if "scanned" not in self.errors and not self.items:
            raise ValidationError(_("Choose or scan at least one rejected piece."))
        return stated

    @property
    def items(self) -> list[Item]:
        """All pieces of the batch, each once."""
        ticked = [self.rows[number] for number in self.cleaned_data.get("pieces") or []]
        return list({item.pk: item for item in [*ticked, *self.cleaned_data.get("scanned", [])]}.values())


def _heading(item: Item) -> str:
    shared = {
        name: getattr(item.item_type, name) for name in ("kind", "size", "cable_size", "cable_length_m")
    }
    return described.heading({**shared, "class": item.item_type.cls, "hand": item.hand})
