"""What an audit sample is drawn from, how large it is, and what was found in it."""

from __future__ import annotations

import re
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear.forms.strict import PlainForm, StrictField, choice_field, number_field
from gear.queries import BadQuestion
from gear.queries.described import kind_word
from gear.queries.questions import moment_in
from gear.rules import values

MOST = 500  # pieces of one sample: as many as a sheet holds
STRATA_NAMES = {
    "": gettext_lazy("all together"),
    "depot": gettext_lazy("each depot for itself"),
    "truck": gettext_lazy("each truck for itself, and the rest"),
    "kind": gettext_lazy("each kind for itself"),
}
CONFIDENCES = [(number, f"{number} %") for number in ("90", "95", "99")]
_DIGITS = re.compile(r"[0-9]{1,12}")


def _start(field: str, given: str) -> str:
    """Digits as typed: 0711 is another start number than 711."""
    cleaned = given.strip()
    if not _DIGITS.fullmatch(cleaned):
        raise values.BadValue("NOT_WHOLE", field, cleaned)
    return cleaned


def _count(field: str, given: str) -> int:
    number = values.whole(field, given)
    if not 1 <= number <= MOST:
        raise values.BadValue("OUT_OF_RANGE", field, number, least=1, most=MOST)
    return number


def _percent(field: str, given: str) -> Decimal:
    number = values.decimal(field, given)
    if not Decimal("0.1") <= number <= 50:
        raise values.BadValue("OUT_OF_RANGE", field, number, least="0.1", most=50)
    return number


class DrawForm(PlainForm):
    """From what is drawn, how, and how many. An empty moment is now."""

    start = StrictField(
        _start,
        label=gettext_lazy("Start number"),
        width="short",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        help_text=gettext_lazy("Digits. Let somebody else choose it, before anybody has seen what it draws."),
    )
    depot = forms.ChoiceField(label=gettext_lazy("Drawn from"), required=False)
    kind = forms.ChoiceField(label=gettext_lazy("Of the kind"), required=False)
    strata = choice_field(gettext_lazy("Drawn"), list(STRATA_NAMES.items()), required=False)
    percent = number_field(gettext_lazy("To catch at least one if so many per cent are bad"), _percent)
    confidence = choice_field(gettext_lazy("With a confidence of"), CONFIDENCES)
    size = number_field(
        gettext_lazy("Or this many pieces"),
        _count,
        required=False,
        help_text=gettext_lazy("Leave it empty to have it worked out."),
    )
    at = forms.CharField(
        label=gettext_lazy("The book as of"),
        required=False,
        max_length=40,
        help_text=gettext_lazy("Empty is now. Or a moment: 2026-09-14T05:40:00-04:00."),
    )

    def __init__(self, *args: Any, depots: list[str], kinds: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        fields: Any = self.fields
        fields["depot"].choices = [("", _("the whole book")), *((name, name) for name in depots)]
        fields["kind"].choices = [("", _("any")), *((name, kind_word(name)) for name in kinds)]

    def clean_at(self) -> datetime | None:
        text = (self.cleaned_data.get("at") or "").strip()
        if not text:
            return None
        try:
            at = moment_in("at", text)
        except BadQuestion as error:
            raise forms.ValidationError(str(error)) from None
        if at > timezone.now():
            raise forms.ValidationError(_("This moment lies in the future. Leave it empty for now."))
        return at

    @property
    def share(self) -> Fraction:
        """The share of bad pieces that at least one is to be caught of."""
        return Fraction(self.cleaned_data["percent"]) / 100

    @property
    def sure(self) -> Fraction:
        return Fraction(int(self.cleaned_data["confidence"]), 100)


def found_in(typed: list[str], sizes: list[int]) -> tuple[list[int] | None, str]:
    """(how many were bad in each stratum, a sentence where this cannot be) from what was typed, blank for none yet."""
    if not any(text.strip() for text in typed):
        return None, ""
    numbers = [int(text) if re.fullmatch(r"\s*[0-9]{1,4}\s*", text) else -1 for text in typed]
    if len(numbers) != len(sizes) or any(
        not 0 <= number <= size for number, size in zip(numbers, sizes, strict=False)
    ):
        return None, _(
            "Give for every part how many were bad: a whole number, no more than were drawn of it."
        )
    return numbers, ""
