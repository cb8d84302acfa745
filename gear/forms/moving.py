"""From whom, to whom, and which pieces: first the choice, then the act on what was shown."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear.forms.acts import LONGEST_REASON, holder_choices, one_item
from gear.forms.strict import NOT_CHOSEN, PlainForm, choice_field, text_field
from gear.models import Holder
from gear.queries.picking import holders_for
from gear.rules.entries import HOLDER_KINDS

MOST_NAMED = 60


class MoveAllForm(PlainForm):
    """The choice, sent by GET. Holders that are out of use may still be emptied."""

    source = choice_field(gettext_lazy("From"), ())
    to = choice_field(gettext_lazy("To"), (), required=False)
    only = forms.CharField(
        label=gettext_lazy("Only these"),
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 2, "autocomplete": "off"}),
        help_text=gettext_lazy("Scan them, one a line, to lend a few. Empty: everything."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        used = holders_for(HOLDER_KINDS)
        self.holders = {str(one.pk): one for one in used}
        emptied = Holder.objects.filter(active=False, itemstate__isnull=False).select_related("crew", "depot")
        self.sources = self.holders | {str(one.pk): one for one in emptied.distinct().order_by("name")}
        ordered = dict(sorted(self.sources.items(), key=lambda pair: HOLDER_KINDS.index(pair[1].kind)))
        self.fields["source"].choices = [NOT_CHOSEN, *holder_choices(ordered)]
        self.fields["to"].choices = [NOT_CHOSEN, *holder_choices(self.holders)]

    def clean_source(self) -> Holder:
        return self.sources[self.cleaned_data["source"]]

    def clean_to(self) -> Holder | None:
        return self.holders.get(self.cleaned_data["to"])

    def clean_only(self) -> tuple[str, ...]:
        typed = [one for one in re.split(r"[\r\n,;]+", self.cleaned_data["only"]) if one.strip()]
        if len(typed) > MOST_NAMED:
            raise ValidationError(
                _("At most %d pieces can be named; leave it empty for everything.") % MOST_NAMED
            )
        found = [one_item(one) for one in typed]
        source = self.cleaned_data.get("source")
        for item in found:
            if source and not Holder.objects.filter(pk=source.pk, itemstate__item=item).exists():
                raise ValidationError(
                    _("%(item)s is not recorded with %(holder)s.")
                    % {"item": item.item_no, "holder": source.name}
                )
        return tuple(sorted({one.item_no for one in found}))

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("source") and cleaned.get("source") == cleaned.get("to"):
            self.add_error("to", _("This is where it is already."))
        return cleaned


class ConfirmForm(PlainForm):
    """The act on the list that is shown."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    shown = forms.CharField(widget=forms.HiddenInput, max_length=64)
    aside = choice_field(gettext_lazy("What is not good"), (), required=False)
    note = text_field(
        gettext_lazy("Until when, or why"),
        most=LONGEST_REASON,
        required=False,
        help_text=gettext_lazy("For example: lent until Friday. It stands on the record of each piece."),
    )

    def __init__(self, *args: Any, blocked: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.asides = {str(one.pk): one for one in holders_for(("shelf", "bench", "lab"))}
        if not blocked:
            del self.fields["aside"]
            return
        choices = [("", _("stays where it is")), *holder_choices(self.asides)]
        self.fields["aside"].choices = choices

    @property
    def aside_chosen(self) -> Holder | None:
        return self.asides.get(self.cleaned_data.get("aside") or "")
