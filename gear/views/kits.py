"""Kits: who leaves and still has gear, what everybody is given, and who lacks some of it."""

from __future__ import annotations

from typing import Any, cast

from django.contrib import messages
from django.forms import BaseFormSet, Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views import View

from gear import permissions, queries
from gear.actions.acting import REFUSALS, Act
from gear.actions.kits import set_kit, set_leaving
from gear.forms.kits import KitFormSet, LeavingForm
from gear.models import Holder, KitLine, User
from gear.permissions import bound_to
from gear.queries import kits as reads
from gear.queries.entry_words import holder_word
from gear.views.kit_words import missing_words, need_words, told_leaver
from gear.views.people import Change


def kits(request: HttpRequest) -> HttpResponse:
    """Leavers first: what they have must come back. Then the list, and who lacks some of it."""
    person, asked = cast(User, request.user), queries.question()
    depot = bound_to(person)
    found = reads.kits(reads.people_in_kit(depot), asked)
    short = [(holder, kit) for holder, kit in found if not kit.complete]
    page = {
        "title": _("Kits"),
        "depot": depot,
        "leavers": [told_leaver(one) for one in reads.leavers(asked, depot)],
        "needs": [need_words(one) for one in reads.needs()],
        "own_list": KitLine.objects.exists(),
        "short": [
            {"pk": holder.pk, "name": holder_word(holder.as_fact()), "missing": missing_words(kit)}
            for holder, kit in short
        ],
        "complete": len(found) - len(short),
        "may_change": permissions.can(person, "manage_people"),
        "may_move": permissions.can(person, "move"),
    }
    return render(request, "gear/kits.html", page)


class KitList(View):
    """The lines of the kit, changed together."""

    def get(self, request: HttpRequest) -> HttpResponse:
        first = [{"kind": one.kind, "cls": one.cls, "count": one.count} for one in reads.needs()]
        return self._page(request, KitFormSet(initial=first))

    def post(self, request: HttpRequest) -> HttpResponse:
        forms = KitFormSet(request.POST)
        if not forms.is_valid():
            return self._page(request, forms, status=422)
        needs = [need for form in forms if (need := form.need())]
        try:
            set_kit(needs, act=Act(cast(User, request.user)))
        except REFUSALS as error:
            return self._page(request, forms, problem=str(error), status=422)
        messages.success(request, _("The kit is kept as it stands here."))
        return redirect("kits")

    def _page(
        self, request: HttpRequest, forms: BaseFormSet, *, problem: str = "", status: int = 200
    ) -> HttpResponse:
        told = problem or " ".join(str(one) for one in forms.non_form_errors())
        page: dict[str, Any] = {"title": _("The kit of this site"), "forms": forms, "problem": told}
        return render(request, "gear/kit_list.html", page, status=status)


class Leaving(Change):
    """The day on which a person leaves."""

    form_class = LeavingForm
    title = gettext_lazy("Leaves")
    lead = gettext_lazy("Everything that is still recorded with them stands under Kits until it is back.")

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        self.holder = get_object_or_404(Holder, pk=kwargs["pk"], kind="person")
        return super().dispatch(request, *args, **kwargs)

    def get_initial(self) -> dict[str, Any]:
        return {"on": self.holder.leaving_on}

    def do(self, form: Form, act: Act) -> str:
        day = form.cleaned_data["on"]
        set_leaving(self.holder, day, act=act)
        words = _("%s: the day is kept.") if day else _("%s stays.")
        return words % self.holder.name

    def back(self) -> str:
        return reverse("kits")

    def get_context_data(self, **values: Any) -> dict[str, Any]:
        return super().get_context_data(title=f"{self.title}: {self.holder.name}", **values)
