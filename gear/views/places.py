"""Pages about depots, crews, and the trucks, shelves, benches, labs and contractors that hold gear."""

from __future__ import annotations

from typing import Any

from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import permissions
from gear.actions import places
from gear.actions.acting import Act
from gear.forms import people as forms
from gear.models import HOLDER_NAMES
from gear.permissions import bound_to
from gear.queries import people as reads
from gear.views.people import Change


def crews(request: HttpRequest) -> HttpResponse:
    return _listed(request, "gear/crews.html", crews=reads.crews_in(bound_to(request.user)))


def depots(request: HttpRequest) -> HttpResponse:
    return _listed(request, "gear/depots.html", depots=reads.depots_in(bound_to(request.user)))


def holders(request: HttpRequest) -> HttpResponse:
    found = list(reads.holders_in(bound_to(request.user)))
    rows = [{"holder": holder, "kind": HOLDER_NAMES[holder.kind]} for holder in found]
    return _listed(request, "gear/holders.html", holders=rows)


def _listed(request: HttpRequest, template: str, **rows: Any) -> HttpResponse:
    return render(request, template, {"may_change": permissions.can(request.user, "manage_people"), **rows})


class _Place(Change):
    """One depot, crew or holder: a new one, or one that whoever asks may manage."""

    listed_at = ""

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "by": self.request.user}

    def back(self) -> str:
        return reverse(self.listed_at)


class AddDepot(_Place):
    form_class = forms.DepotForm
    title = button = gettext_lazy("Add a depot")
    listed_at = "depots"

    def do(self, form: Form, act: Act) -> str:
        return _added(places.add_depot(form.cleaned_data["name"], act=act))


class EditDepot(_Place):
    form_class = forms.DepotForm
    title = gettext_lazy("Rename a depot")
    lead = gettext_lazy("Only while nobody and nothing belongs to it: later its name stands in the record.")
    listed_at = "depots"

    def get_initial(self) -> dict[str, Any]:
        return {"name": self._depot().name}

    def do(self, form: Form, act: Act) -> str:
        return _saved(places.rename_depot(self._depot(), name=form.cleaned_data["name"], act=act))

    def _depot(self) -> Any:
        return get_object_or_404(reads.depots_in(bound_to(self.request.user)), pk=self.kwargs["pk"])


class AddCrew(_Place):
    form_class = forms.CrewForm
    title = button = gettext_lazy("Add a crew")
    listed_at = "crews"

    def do(self, form: Form, act: Act) -> str:
        return _added(places.add_crew(**form.cleaned_data, act=act))


class EditCrew(_Place):
    form_class = forms.CrewForm
    title = gettext_lazy("Change a crew")
    lead = gettext_lazy("Its name can be corrected only while nobody and nothing belongs to it.")
    listed_at = "crews"

    def get_initial(self) -> dict[str, Any]:
        crew = self._crew()
        return {"name": crew.name, "depot": crew.depot, "phone": crew.phone}

    def do(self, form: Form, act: Act) -> str:
        return _saved(places.change_crew(self._crew(), **form.cleaned_data, act=act))

    def _crew(self) -> Any:
        return get_object_or_404(reads.crews_in(bound_to(self.request.user)), pk=self.kwargs["pk"])


class AddHolder(_Place):
    form_class = forms.NewHolderForm
    title = button = gettext_lazy("Add a truck, shelf, bench, lab or contractor")
    listed_at = "holders"

    def do(self, form: Form, act: Act) -> str:
        return _added(places.add_holder(**form.cleaned_data, act=act))


class EditHolder(_Place):
    form_class = forms.HolderForm
    title = gettext_lazy("Change")
    listed_at = "holders"

    def get_initial(self) -> dict[str, Any]:
        holder = self._holder()
        return {"crew": holder.crew, "depot": holder.depot, "active": holder.active}

    def do(self, form: Form, act: Act) -> str:
        return _saved(places.change_holder(self._holder(), **form.cleaned_data, act=act))

    def get_context_data(self, **values: Any) -> dict[str, Any]:
        holder = self._holder()
        return super().get_context_data(title=f"{HOLDER_NAMES[holder.kind]} {holder.name}", **values)

    def _holder(self) -> Any:
        return get_object_or_404(reads.holders_in(bound_to(self.request.user)), pk=self.kwargs["pk"])


def _added(place: Any) -> str:
    return _("%(name)s was added.") % {"name": place.name}


def _saved(place: Any) -> str:
    return _("%(name)s: saved.") % {"name": place.name}
