"""Forms about people and places. What may be chosen is narrowed to what the person who fills them in may give."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.forms import UsernameField
from django.contrib.auth.password_validation import password_validators_help_texts, validate_password
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from gear.actions.people import Details
from gear.actions.places import PLACE_KINDS
from gear.models import HOLDER_NAMES, ROLE_NAMES, Crew, Depot, User
from gear.permissions import bound_to
from gear.queries import people as reads

LONGEST_NAME = 80


def password_field(label: Any, *, new: bool = True, **choices: Any) -> forms.CharField:
    widget = forms.PasswordInput(attrs={"autocomplete": "new-password" if new else "current-password"})
    return forms.CharField(label=label, widget=widget, strip=False, max_length=4096, **choices)


class Plain(forms.Form):
    """A form whose labels end as they are written."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, label_suffix="", **kwargs)


class _FilledInBy(Plain):
    """A form that knows who fills it in; crews and depots are those that `by` may manage."""

    def __init__(self, *args: Any, by: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.by = by
        self.depot = bound_to(by)
        for name, rows in (("crew", reads.crews_in(self.depot)), ("depot", reads.depots_in(self.depot))):
            if name in self.fields:
                self.fields[name].queryset = rows  # type: ignore[attr-defined]


class PersonForm(_FilledInBy):
    first_name = forms.CharField(label=_("First name"), max_length=150, required=False)
    last_name = forms.CharField(label=_("Last name"), max_length=150, required=False)
    email = forms.EmailField(
        label=_("E-mail"), required=False, help_text=_("Where the weekly report goes, for those who get it.")
    )
    role = forms.ChoiceField(label=_("Role"), choices=list(ROLE_NAMES.items()))
    crew = forms.ModelChoiceField(
        Crew.objects.none(), label=_("Crew"), required=False, empty_label=_("no crew")
    )
    depot = forms.ModelChoiceField(
        Depot.objects.none(),
        label=_("Depot"),
        required=False,
        empty_label=_("none"),
        help_text=_("Binds a clerk, foreman or supervisor to the gear and people of this depot."),
    )
    has_gear = forms.BooleanField(
        label=_("Gear may be issued to this person"),
        required=False,
        help_text=_("For line workers and foremen."),
    )

    def __init__(self, *args: Any, person: User | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.by.role != "administrator":
            named = [(role, name) for role, name in ROLE_NAMES.items() if role != "administrator"]
            self.fields["role"].choices = named  # type: ignore[attr-defined]
        if person is not None and person == self.by:
            for name in ("role", "crew", "depot"):
                self.fields[name].disabled = True
                self.fields[name].help_text = _("Nobody changes their own role, crew or depot.")
            self.fields["role"].choices = list(ROLE_NAMES.items())  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        crew, depot = cleaned.get("crew"), cleaned.get("depot")
        if crew and depot and crew.depot and crew.depot != depot:
            self.add_error("crew", _("This crew belongs to another depot."))
        if self.depot and not self.fields["depot"].disabled and not crew and not depot:
            self.add_error("depot", _("Choose the depot or one of its crews."))
        return cleaned

    def details(self) -> Details:
        return Details(**{name: self.cleaned_data[name] for name in Details.__dataclass_fields__})


class NewPersonForm(PersonForm):
    username = UsernameField(
        label=_("Username"),
        max_length=150,
        help_text=_(
            "What is typed to sign in. It is part of every entry this person makes and never changes."
        ),
        widget=forms.TextInput(attrs={"autocapitalize": "none", "autocomplete": "off"}),
    )
    password = password_field(
        _("Password"),
        required=False,
        help_text=_("May wait: without one they cannot sign in until it is set."),
    )
    again = password_field(_("Password again"), required=False)
    field_order = ("username", "first_name", "last_name", "email", "role", "crew", "depot", "has_gear")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        person = User(
            username=cleaned.get("username", ""),
            **{name: cleaned.get(name, "") for name in ("first_name", "last_name", "email")},
        )
        _check_new_password(self, person, optional=True)
        return cleaned


class PasswordForm(Plain):
    password = password_field(_("New password"))
    again = password_field(_("New password again"))

    def __init__(self, *args: Any, person: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person = person
        self.fields["password"].help_text = " ".join(password_validators_help_texts())

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        _check_new_password(self, self.person)
        return cleaned


class OwnPasswordForm(PasswordForm):
    current = password_field(_("Your password now"), new=False)
    field_order = ("current", "password", "again")


class PinForm(Plain):
    pin = forms.CharField(
        label=_("PIN"),
        required=False,
        max_length=20,
        help_text=_(
            "4 to 8 digits, for shared tablets. It is never shown again. Leave it empty to take it away."
        ),
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    again = forms.CharField(
        label=_("PIN again"),
        required=False,
        max_length=20,
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("pin") != cleaned.get("again"):
            self.add_error("again", _("The two are not the same. Type both again."))
        return cleaned


class OwnPinForm(PinForm):
    current = password_field(_("Your password"), new=False)
    field_order = ("current", "pin", "again")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("pin", "again"):
            self.fields[name].required = True
        self.fields["pin"].help_text = _("4 to 8 digits, for shared tablets. It is never shown again.")


class ReasonForm(Plain):
    reason = forms.CharField(label=_("Reason"), max_length=400)


class DepotForm(_FilledInBy):
    name = forms.CharField(label=_("Name"), max_length=LONGEST_NAME)


class CrewForm(_FilledInBy):
    name = forms.CharField(label=_("Name"), max_length=LONGEST_NAME)
    depot = forms.ModelChoiceField(
        Depot.objects.none(), label=_("Depot"), required=False, empty_label=_("none")
    )
    phone = forms.CharField(
        label=_("Foreman's phone"),
        max_length=40,
        required=False,
        help_text=_("Printed on the weekly report beside gear that needs a call."),
        widget=forms.TextInput(attrs={"type": "tel", "autocomplete": "off"}),
    )


class HolderForm(_FilledInBy):
    crew = forms.ModelChoiceField(
        Crew.objects.none(), label=_("Crew"), required=False, empty_label=_("no crew")
    )
    depot = forms.ModelChoiceField(
        Depot.objects.none(),
        label=_("Depot"),
        required=False,
        empty_label=_("none"),
        help_text=_("Empty: the depot of the crew."),
    )
    active = forms.BooleanField(
        label=_("In use"),
        required=False,
        help_text=_("Can be taken out of use once no gear is recorded there."),
    )


class NewHolderForm(HolderForm):
    kind = forms.ChoiceField(label=_("Kind"), choices=[(kind, HOLDER_NAMES[kind]) for kind in PLACE_KINDS])
    name = forms.CharField(
        label=_("Name"), max_length=LONGEST_NAME, help_text=_("It stands in the record and never changes.")
    )
    active = None  # type: ignore[assignment]  # a new one is in use
    field_order = ("kind", "name", "crew", "depot")


def _check_new_password(form: forms.Form, person: User, *, optional: bool = False) -> None:
    password, again = form.cleaned_data.get("password", ""), form.cleaned_data.get("again", "")
    if optional and not password and not again:
        return
    if password != again:
        form.add_error("again", _("The two are not the same. Type both again."))
    elif password:
        try:
            validate_password(password, person)
        except ValidationError as problem:
            form.add_error("password", problem)
