"""Pages about people: who they are, what they may do, their passwords and PINs."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Any

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.core.exceptions import PermissionDenied
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.generic import FormView

from gear import permissions
from gear.actions import people
from gear.actions.acting import Act, Refused
from gear.forms import people as forms
from gear.models import ROLE_NAMES, ItemState, User
from gear.pdf import NotSet
from gear.pdf.person_badge import badge_pdf
from gear.permissions import NotAllowed, bound_to
from gear.queries import people as reads
from gear.views.kit_words import told_person

CHANGE_NAMES = {
    "added": gettext_lazy("added"),
    "changed": gettext_lazy("changed"),
    "deactivated": gettext_lazy("deactivated"),
    "reactivated": gettext_lazy("reactivated"),
    "password_set": gettext_lazy("new password"),
    "pin_set": gettext_lazy("new PIN"),
    "pin_removed": gettext_lazy("PIN taken away"),
    "badge_given": gettext_lazy("new badge"),
    "device_enrolled": gettext_lazy("phone enrolled"),
    "device_revoked": gettext_lazy("phone revoked"),
    "leaving": gettext_lazy("leaves, or stays after all"),
    "qualified": gettext_lazy("may accept by eye"),
}


def people_list(request: HttpRequest) -> HttpResponse:
    words = request.GET.get("q", "").replace("\x00", "")[:100]
    found = reads.people_in(bound_to(request.user), words=words)
    context = {
        "words": words,
        "people": [_row(person) for person in found if person.is_active],
        "gone": [_row(person) for person in found if not person.is_active],
        "may_change": permissions.can(request.user, "manage_people"),
    }
    return render(request, "gear/people.html", context)


def person(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(reads.people_in(bound_to(request.user)), pk=pk)
    holder = getattr(shown, "holder", None)
    context = {
        "person": shown,
        "role": ROLE_NAMES[shown.role],
        "holder": holder,
        "pieces": ItemState.objects.filter(holder=holder).count() if holder else 0,
        "kit": told_person(holder) if holder else None,
        "history": [
            {"entry": entry, "words": CHANGE_NAMES.get(entry.facts["change"], entry.facts["change"])}
            for entry in reads.changes_of(shown)
        ],
        "may_change": _may_manage(request.user, shown),
        "is_self": shown == request.user,
    }
    return render(request, "gear/person.html", context)


def badge(request: HttpRequest, pk: int) -> HttpResponse:
    """A new badge as a PDF. Printing one ends the one before: a badge that was lost names nobody."""
    shown = get_object_or_404(reads.people_in(bound_to(request.user)), pk=pk)
    try:
        content = badge_pdf(people.give_badge(shown, act=Act(request.user)))
    except (NotAllowed, NotSet) as problem:
        messages.error(request, str(problem))
        return redirect("person", pk)
    answer = HttpResponse(content, content_type="application/pdf")
    answer.headers["Content-Disposition"] = f'inline; filename="badge-{shown.pk}.pdf"'
    return answer


def _row(person: User) -> dict[str, Any]:
    return {
        "person": person,
        "role": ROLE_NAMES[person.role],
        "depot": person.depot or _depot_of_crew(person),
    }


def _depot_of_crew(person: User) -> Any:
    return person.crew.depot if person.crew else None


def _may_manage(user: Any, person: User) -> bool:
    try:
        home = person.depot or _depot_of_crew(person)
        permissions.check_can_manage(user, role=person.role, depot=home)
    except NotAllowed:
        return False
    return True


class Change(FormView, ABC):
    """A form, one act, and back to where it shows. What the act refuses stands beside the field at fault."""

    template_name = "gear/people_form.html"
    title: str | Promise = ""
    lead: str | Promise = ""
    button: str | Promise = gettext_lazy("Save")
    own = False  # about whoever fills it in: beside their other pages

    def form_valid(self, form: Form) -> HttpResponse:
        try:
            done = self.do(form, Act(self.request.user))
        except (Refused, NotAllowed) as problem:
            field = getattr(problem, "field", "")
            form.add_error(field if field in form.fields else None, str(problem))
            return self.form_invalid(form)
        if done:
            messages.success(self.request, done)
        return redirect(self.back())

    @abstractmethod
    def do(self, form: Form, act: Act) -> str:
        """Do what the form says; the sentence that tells what was done."""

    @abstractmethod
    def back(self) -> str:
        """Where the page leads when it is done or left."""

    def get_context_data(self, **values: Any) -> dict[str, Any]:
        texts = {
            "title": self.title,
            "lead": self.lead,
            "button": self.button,
            "back": self.back(),
            "own": self.own,
        }
        return super().get_context_data(**{**texts, **values})


class _FilledIn(Change):
    """A form that is told who fills it in."""

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "by": self.request.user}


class AddPerson(_FilledIn):
    form_class = forms.NewPersonForm
    title = gettext_lazy("Add a person")
    button = gettext_lazy("Add this person")

    def do(self, form: forms.NewPersonForm, act: Act) -> str:
        cleaned = form.cleaned_data
        added = people.add(cleaned["username"], details=form.details(), password=cleaned["password"], act=act)
        self.added = added
        return _("%(name)s was added.") % {"name": added.name}

    def back(self) -> str:
        return reverse("person", args=[self.added.pk]) if hasattr(self, "added") else reverse("people")


class _AboutPerson(Change):
    """A change to one person, whom whoever asks must be allowed to manage."""

    person: User

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        self.person = get_object_or_404(reads.people_in(bound_to(request.user)), pk=kwargs["pk"])
        if not _may_manage(request.user, self.person):
            raise PermissionDenied(_("Only an administrator may add or change an administrator."))
        return super().dispatch(request, *args, **kwargs)

    def back(self) -> str:
        return reverse("person", args=[self.person.pk])

    def get_context_data(self, **values: Any) -> dict[str, Any]:
        return super().get_context_data(title=f"{self.title}: {self.person.name}", **values)


class EditPerson(_AboutPerson, _FilledIn):
    form_class = forms.PersonForm
    title = gettext_lazy("Change")

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "person": self.person}

    def get_initial(self) -> dict[str, Any]:
        return vars(people.details_of(self.person))

    def do(self, form: forms.PersonForm, act: Act) -> str:
        changed = people.change(self.person, details=form.details(), act=act)
        return _("%(name)s: saved.") % {"name": changed.name}


class SetPassword(_AboutPerson):
    form_class = forms.PasswordForm
    title = gettext_lazy("New password")
    lead = gettext_lazy(
        "Their sessions end at once. Tell them the password in person; it is shown to nobody again."
    )

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "person": self.person}

    def do(self, form: Form, act: Act) -> str:
        changed = people.set_password(self.person, password=form.cleaned_data["password"], act=act)
        if changed == self.request.user:
            update_session_auth_hash(self.request, changed)
        return _("%(name)s has a new password.") % {"name": changed.name}


class SetPin(_AboutPerson):
    form_class = forms.PinForm
    title = gettext_lazy("PIN")

    def do(self, form: Form, act: Act) -> str:
        pin = form.cleaned_data["pin"]
        people.set_pin(self.person, pin=pin, act=act)
        words = _("%(name)s has a new PIN.") if pin else _("%(name)s has no PIN any more.")
        return words % {"name": self.person.name}


class SetActive(_AboutPerson):
    """Deactivate or reactivate, whichever is not so yet. The form says which it was made for."""

    form_class = forms.ReasonForm

    def do(self, form: Form, act: Act) -> str:
        reason = form.cleaned_data["reason"]
        if self.request.POST.get("wanted") == "active":
            people.reactivate(self.person, reason=reason, act=act)
            return _("%(name)s may sign in again.") % {"name": self.person.name}
        people.deactivate(self.person, reason=reason, act=act)
        return _("%(name)s is deactivated and signed out everywhere.") % {"name": self.person.name}

    def get_context_data(self, **values: Any) -> dict[str, Any]:
        closing = self.person.is_active
        self.title = _("Deactivate") if closing else _("Reactivate")
        self.button = self.title
        self.lead = (
            _(
                "They are signed out everywhere at once and cannot sign in. What they entered stands; gear in their "
                "hands stays on the record until it is moved."
            )
            if closing
            else _("They can sign in again with the password they had.")
        )
        return super().get_context_data(wanted="inactive" if closing else "active", **values)


class ChangeOwnPassword(Change):
    form_class = forms.OwnPasswordForm
    own = True
    title = gettext_lazy("Choose a new password")
    lead = gettext_lazy("Choose one that nobody else knows: what is entered under your name is yours.")

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "person": self.request.user}

    def do(self, form: Form, act: Act) -> str:
        cleaned = form.cleaned_data
        changed = people.change_own_password(
            self.request.user, current=cleaned["current"], password=cleaned["password"], act=act
        )
        update_session_auth_hash(self.request, changed)
        return _("Your new password counts from now on. Other sessions of yours have ended.")

    def back(self) -> str:
        return "/"


class SetOwnPin(Change):
    """A PIN that nobody else has seen: what is confirmed with it is its person's."""

    form_class = forms.OwnPinForm
    own = True
    title = gettext_lazy("Choose your PIN")
    lead = gettext_lazy(
        "With it you confirm what you record on a shared tablet. Choose one that nobody else knows: what is confirmed "
        "with it is yours."
    )

    def do(self, form: Form, act: Act) -> str:
        cleaned = form.cleaned_data
        people.set_own_pin(self.request.user, current=cleaned["current"], pin=cleaned["pin"], act=act)
        return _("Your new PIN counts from now on.")

    def back(self) -> str:
        return "/"
