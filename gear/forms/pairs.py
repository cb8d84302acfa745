"""What pair is looked for: class, size and length as people say them, and the days that it must give."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear.forms.strict import PlainForm, choice_field
from gear.queries.pairs import Wanted
from gear.rules import search
from gear.rules.gearbook import CLASSES

LONGEST_INCHES = 40  # a bare number up to this is in inches, beyond it in millimetres
LONGEST_FLOOR = 400
KINDS = (("glove", gettext_lazy("Gloves")), ("sleeve", gettext_lazy("Sleeves")))
TYPES = (("", gettext_lazy("Any")), ("I", "I"), ("II", "II"))


def _text(label: Any, **choices: Any) -> forms.CharField:
    attrs = {"autocomplete": "off", **choices.pop("attrs", {})}
    return forms.CharField(
        label=label, required=False, max_length=40, widget=forms.TextInput(attrs=attrs), **choices
    )


class FindPairForm(PlainForm):
    """Every field narrows; an empty one is "whatever it is"."""

    kind = choice_field(gettext_lazy("What"), KINDS)
    cls = choice_field(gettext_lazy("Class"), ())
    size = _text(gettext_lazy("Size"), attrs={"inputmode": "decimal"})
    length = _text(gettext_lazy("Length"), help_text=gettext_lazy("14 in or 360 mm"))
    floor = forms.IntegerField(
        label=gettext_lazy("Gives at least, days"),
        min_value=0,
        max_value=LONGEST_FLOOR,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    type = choice_field(gettext_lazy("Type"), TYPES, required=False)
    colour = _text(gettext_lazy("Colour"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        classes = list(dict.fromkeys(one for kind, _words in KINDS for one in CLASSES[kind]))
        self.fields["cls"].choices = [("", _("Any")), *((one, one) for one in classes)]
        self.fields["cls"].required = False
        self.fields["cls"].widget.attrs["data-typed-first"] = ""

    def clean_size(self) -> str:
        return str(self.cleaned_data["size"]).strip().replace(",", ".")

    def clean_length(self) -> tuple[int, int] | None:
        typed = str(self.cleaned_data["length"]).strip()
        if not typed:
            return None
        if re.fullmatch(r"[0-9]{1,4}", typed):
            typed += " in" if int(typed) <= LONGEST_INCHES else " mm"
        found = search.parse(typed, pack=None)
        if found.length_mm is None or found.words:
            raise ValidationError(_("Write a length as 14 in or as 360 mm."))
        return found.length_mm

    def wanted(self) -> Wanted:
        stated = self.cleaned_data
        return Wanted(
            stated["kind"],
            stated["cls"],
            stated["size"],
            stated["length"],
            stated["type"],
            stated["colour"].strip(),
        )
