"""The register of exceptions: notes with a name, a reason, a last day and who approved. None changes a verdict."""

from __future__ import annotations

from typing import Any, cast
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from gear import permissions, wording
from gear.actions.acting import REFUSALS, Act
from gear.actions.submissions import once
from gear.models import User
from gear.queries import question
from gear.views.moments import moment
from gear.views.sending import refused_in, sent_values
from reports.actions.excepting import Stated, close_exception, note_exception
from reports.forms.week import CloseForm, ExceptionForm, named
from reports.permissions import scope_of
from reports.queries.exceptions import exceptions as on_record
from reports.rules.exceptions import Noted
from reports.wording.exceptions import about


def register(request: HttpRequest) -> HttpResponse:
    """Those in force, and those that ended."""
    asked, scope = question(), scope_of(cast(User, request.user))
    found = [one for one in on_record() if one.concerns(scope)]
    standing = [one for one in found if one.in_force(asked.as_of, asked.asked_at)]
    page = {
        "title": _("Exceptions"),
        "standing": [_row(one) for one in sorted(standing, key=lambda one: (one.ends_on, one.name))],
        "ended": [_row(one) for one in found if one not in standing],
        "may_note": permissions.can(request.user, "note_exception"),
    }
    return render(request, "reports/exceptions.html", page)


def add(request: HttpRequest) -> HttpResponse:
    user = cast(User, request.user)
    form = ExceptionForm(request.POST or None, initial={"id": uuid4(), "approved_by": named(user)})
    if request.method == "POST" and form.is_valid():
        told = {name: value or "" for name, value in form.cleaned_data.items() if name != "id"}
        doing = Act(user, id=form.cleaned_data["id"])

        def work() -> dict[str, Any]:
            row = note_exception(Stated(**told), today=question().as_of, scope=scope_of(user), act=doing)
            return {"exception": str(row.pk)}

        try:
            once(doing.id, act="note_exception", body=sent_values(request, form), by=user, work=work)
        except REFUSALS as error:
            return _form(request, form, status=refused_in(form, error))
        messages.success(request, _("Noted. It stands on every report until it ends."))
        return redirect("exceptions")
    return _form(request, form, status=422 if form.errors else 200)


def close(request: HttpRequest, pk: UUID) -> HttpResponse:
    user, asked = cast(User, request.user), question()
    scope = scope_of(user)  # what is beyond it is not told apart from what does not exist
    one = next((one for one in on_record() if one.key == str(pk) and one.concerns(scope)), None)
    if one is None or request.method != "POST" and not one.in_force(asked.as_of, asked.asked_at):
        raise Http404(_("No such exception is in force."))
    form = CloseForm(request.POST or None, initial={"id": uuid4()})
    if request.method == "POST" and form.is_valid():
        reason, doing = form.cleaned_data["reason"], Act(user, id=form.cleaned_data["id"])

        def work() -> dict[str, Any]:
            row = close_exception(pk, reason=reason, today=asked.as_of, scope=scope, act=doing)
            return {"end": str(row.pk)}

        try:
            body = {"exception": str(pk), **sent_values(request, form)}
            once(doing.id, act="close_exception", body=body, by=user, work=work)
        except REFUSALS as error:
            return _form(request, form, one=one, status=refused_in(form, error))
        messages.success(request, _("Closed."))
        return redirect("exceptions")
    return _form(request, form, one=one, status=422 if form.errors else 200)


def _form(request: HttpRequest, form: Any, *, one: Noted | None = None, status: int) -> HttpResponse:
    managers = User.objects.filter(is_active=True, role__in=permissions.MANAGERS)
    page = {
        "title": _("Close an exception") if one else _("Note an exception"),
        "row": _row(one) if one else None,
        "form": form,
        "people": [] if one else [named(each) for each in managers.order_by("last_name", "username")],
    }
    return render(request, "reports/exception_form.html", page, status=status)


def _row(one: Noted) -> dict[str, Any]:
    return {
        "key": one.key,
        "name": one.name,
        "about": about(one),
        "reason": one.reason,
        "begins": wording.day(one.begins_on),
        "ends": wording.day(one.ends_on),
        "approved": one.approved_by,
        "noted": f"{one.by}, {moment(one.at)}",
        "closed": f"{one.closed_by}, {moment(one.closed_at)}" if one.closed_at else "",
        "why": one.why,
    }
