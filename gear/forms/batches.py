"""Forms with which many pieces are held, or released, as one act, and the form of a recall."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear.forms.strict import PlainForm, day_field, text_field
from gear.rules.recall import FIELDS, WORDS, Notice

FIELD_NAMES = {
    "maker": gettext_lazy("maker"),
    "model": gettext_lazy("model"),
    "lot": gettext_lazy("lot"),
    "made_on": gettext_lazy("date of manufacture"),
}


class HoldForm(PlainForm):
    """Why all that was shown is held. `shown` tells whether the list is still the one that was looked at."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    shown = forms.CharField(widget=forms.HiddenInput, max_length=64)
    reason = text_field(
        gettext_lazy("Reason"),
        most=200,
        help_text=gettext_lazy("Whoever scans one of them reads it, after what this list is about."),
    )


class ReleaseForm(PlainForm):
    """Why every hold of a batch is taken off."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    reason = text_field(gettext_lazy("Why may they be used again?"), most=400)


class NoticeForm(PlainForm):
    """What a maker's notice names; at least one of its fields."""

    maker = text_field(gettext_lazy("Maker"), most=80, required=False)
    model = text_field(gettext_lazy("Model"), most=80, required=False)
    lot = text_field(gettext_lazy("Lot"), most=60, required=False)
    made_from = day_field(gettext_lazy("Made from"), required=False)
    made_to = day_field(gettext_lazy("Made through"), required=False)
    without = forms.MultipleChoiceField(
        label=gettext_lazy("Also hold pieces whose record does not state the"),
        choices=[(name, FIELD_NAMES[name]) for name in FIELDS],
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )

    def __init__(self, *args: Any, names: dict[str, list[str]] | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in names or {}:
            self.fields[name].widget.attrs["list"] = f"{name}s"

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        first, last = cleaned.get("made_from"), cleaned.get("made_to")
        if first and last and last < first:
            self.add_error("made_to", _("This day lies before the first one."))
        if not self.errors and not self.notice().asked:
            self.add_error(
                None,
                _(
                    "Name a maker, a model, a lot or days of manufacture. Without any, it would be everything."
                ),
            )
        return cleaned

    def notice(self) -> Notice:
        """What was asked for."""
        stated = self.cleaned_data
        words = {name: stated.get(name) or "" for name in WORDS}
        without = frozenset(stated.get("without") or ())
        return Notice(
            **words, made_from=stated.get("made_from"), made_to=stated.get("made_to"), without=without
        )


def subject_of(notice: Notice) -> str:
    """`Recall: maker Quoin, lot 7A, made 2024-01-01 to 2024-03-31`, as it stands in the record."""
    parts = [f"{FIELD_NAMES[name]} {getattr(notice, name)}" for name in WORDS if getattr(notice, name)]
    if notice.made_from and notice.made_to:
        parts.append(
            _("made %(first)s to %(last)s") % {"first": _iso(notice.made_from), "last": _iso(notice.made_to)}
        )
    elif notice.made_from:
        parts.append(_("made from %s on") % _iso(notice.made_from))
    elif notice.made_to:
        parts.append(_("made through %s") % _iso(notice.made_to))
    if counted := [name for name in notice.asked if name in notice.without]:
        parts.append(_("or %s not stated") % listed(counted))
    return _("Recall: %s") % ", ".join(parts)


def listed(names: list[str] | tuple[str, ...]) -> str:
    """`lot and date of manufacture`."""
    words = [str(FIELD_NAMES[name]) for name in names]
    if len(words) < 2:
        return "".join(words)
    return _("%(first)s and %(last)s") % {"first": ", ".join(words[:-1]), "last": words[-1]}


def _iso(day: date) -> str:
    return day.isoformat()
