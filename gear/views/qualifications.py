"""Who may accept gear by eye at the tool room, run out first; adding one."""

from __future__ import annotations

from typing import Any

from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import permissions, wording
from gear.actions import qualifications
from gear.actions.acting import Act
from gear.forms.qualifications import QualificationForm
from gear.permissions import bound_to
from gear.queries.people import qualifications_on
from gear.views.people import Change

SOON_DAYS = 28


def qualification_list(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    rows = [
        {
            "person": row.person,
            "from_on": wording.day(row.from_on),
            "until_on": wording.day(row.until_on),
            "standing": _standing(row.from_on > today, standing, (row.until_on - today).days),
            "current": standing == "current",
            "ground": row.entry.facts.get("note", "").partition(": ")[2],
            "by": row.entry.by.name if row.entry.by else "",
        }
        for row, standing in qualifications_on(bound_to(request.user), today)
    ]
    page = {
        "title": _("Inspectors"),
        "rows": rows,
        "may_add": permissions.can(request.user, "qualify"),
    }
    return render(request, "gear/qualifications.html", page)


def _standing(to_come: bool, standing: str, days: int) -> str:
    if to_come:
        return _("not yet begun")
    if standing == "expired":
        return _("run out")
    return _("%s days left") % days if days <= SOON_DAYS else _("valid")


class AddQualification(Change):
    form_class = QualificationForm
    title = gettext_lazy("Enter a qualification")
    lead = gettext_lazy(
        "Who is named may accept gear by eye at the tool room on these days. It replaces what was on file for them; "
        "what they accepted before stands."
    )
    button = gettext_lazy("Enter it")

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "by": self.request.user}

    def get_initial(self) -> dict[str, Any]:
        return {"from_on": timezone.localdate(), "person": self.request.GET.get("person", "")}

    def do(self, form: Form, act: Act) -> str:
        stated = form.cleaned_data
        row = qualifications.qualify(
            stated["person"],
            from_on=stated["from_on"],
            until_on=stated["until_on"],
            reason=stated["reason"],
            act=act,
        )
        told = {"name": row.person.name, "day": wording.day(row.until_on)}
        return _("%(name)s may accept by eye through %(day)s.") % told

    def back(self) -> str:
        return reverse("qualifications")
