"""Fields that read what was typed as strictly as a cell of a file, and say what is wrong in the same words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from functools import partial
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from gear import wording
from gear.rules import values
from gear.rules.tables import Problem
from gear.rules.values import BadValue

Words = str | Promise
Read = Callable[[str, str], Any]


class PlainForm(forms.Form):
    """A form whose labels end as they are written."""

    required_css_class = "required"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, label_suffix="", **kwargs)


class StrictField(forms.CharField):
    """What `read(name, text)` makes of the text, None where nothing was typed. BadValue becomes a sentence."""

    def __init__(self, read: Read, *, width: str = "", **choices: Any) -> None:
        choices.setdefault("widget", forms.TextInput(attrs={"autocomplete": "off"}))
        super().__init__(**choices)
        self.read = read
        if width:
            self.widget.attrs["class"] = width

    def clean(self, value: Any) -> Any:
        text = "" if value is None else str(value)
        if not text.strip():
            if self.required:
                raise ValidationError(self.error_messages["required"], code="required")
            return None
        try:
            return self.read("field", text)
        except BadValue as error:
            raise ValidationError(sentence(error, label=self.label or ""), code=error.code) from None


def sentence(error: BadValue, *, label: Words) -> str:
    """Why a value is refused, with the field under the name that stands beside it."""
    return problem_sentence(Problem(0, error.code, error.values), label=label)


def problem_sentence(problem: Problem, *, label: Words) -> str:
    """The same for a problem of a whole row."""
    return wording.line_problem(Problem(0, problem.code, {**problem.values, "field": str(label)}))


def day_field(label: Words, *, not_after: date | None = None, **choices: Any) -> StrictField:
    """A calendar date. Browsers show their own way of choosing one and send 2026-09-14."""
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    choices.setdefault("help_text", "")
    return StrictField(
        partial(values.day, not_after=not_after), label=label, widget=widget, width="short", **choices
    )


def number_field(label: Words, read: Read, **choices: Any) -> StrictField:
    """A number typed with digits. No browser arrows: a turn of the mouse wheel must not change a reading."""
    attrs = {"inputmode": "decimal", "autocomplete": "off"}
    return StrictField(read, label=label, widget=forms.TextInput(attrs=attrs), width="short", **choices)


def text_field(label: Words, *, most: int = 200, **choices: Any) -> StrictField:
    """One line of text without unseen characters."""
    choices.setdefault("widget", forms.TextInput(attrs={"autocomplete": "off", "maxlength": most}))
    return StrictField(partial(values.text, most=most), label=label, **choices)


def choice_field(
    label: Words, words: Sequence[tuple[Any, Any]], *, radio: bool = False, **choices: Any
) -> forms.ChoiceField:
    """One of the words that are offered. With `radio` all of them are in sight."""
    widget = forms.RadioSelect() if radio else forms.Select()
    return forms.ChoiceField(label=label, choices=words, widget=widget, **choices)


NOT_CHOSEN = ("", _("Choose"))
