"""Promises and exceptions as they are typed."""

from __future__ import annotations

import re

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear.forms.strict import PlainForm, choice_field, day_field, text_field
from gear.models import User
from reports.wording.exceptions import ABOUT_NAMES

_NAMED = re.compile(r"\(([^()]+)\)\s*$")


def named(person: User) -> str:
    """`Bertrand Foss (bertrand)`, or the username where there is no other name."""
    return f"{person.name} ({person.username})" if person.name != person.username else person.username


class PersonField(forms.CharField):
    """An active person as `named`, by username, or by a name that only one has; of `people` where these are given."""

    people: QuerySet[User] | None = None

    def clean(self, value: str) -> User | None:  # type: ignore[override]
        text = super().clean(value).strip()
        if not text:
            return None
        in_brackets = _NAMED.search(text)
        active = (User.objects.all() if self.people is None else self.people).filter(is_active=True)
        found = active.filter(username__iexact=in_brackets[1] if in_brackets else text).first()
        same = [] if found else [one for one in active if one.name.casefold() == text.casefold()]
        if found or len(same) == 1:
            return found or same[0]
        if same:
            raise ValidationError(_("More than one person has this name. Choose from the list."))
        raise ValidationError(_("Nobody of this name is on the list of people."))


class PromiseForm(PlainForm):
    """Who closes the ticked lines, and by when."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    crew = forms.CharField(required=False, widget=forms.HiddenInput)
    owner = PersonField(
        label=gettext_lazy("Who closes it"),
        widget=forms.TextInput(attrs={"list": "people", "autocomplete": "off"}),
    )
    promised_on = day_field(gettext_lazy("By"))
    note = text_field(gettext_lazy("Note"), required=False)


class ExceptionForm(PlainForm):
    """An exception with all that it must name."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    name = text_field(gettext_lazy("Name"), most=80, help_text=gettext_lazy("A few words, as in the policy."))
    about = choice_field(gettext_lazy("About"), list(ABOUT_NAMES.items()), radio=True)
    subject = text_field(
        gettext_lazy("Which"),
        most=80,
        required=False,
        help_text=gettext_lazy("The number of the piece, or the name of the crew or truck."),
    )
    reason = text_field(gettext_lazy("Reason"), most=500)
    ends_on = day_field(gettext_lazy("Last day"), help_text=gettext_lazy("It ends by itself after this day."))
    approved_by = PersonField(
        label=gettext_lazy("Approved by"),
        widget=forms.TextInput(attrs={"list": "people", "autocomplete": "off"}),
    )


class CloseForm(PlainForm):
    """Why an exception ends before its last day."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    reason = text_field(gettext_lazy("Why it ends now"), most=500)
