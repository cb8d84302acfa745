"""This week: page one of the report as it stands now, with the promises of whoever closes its lines."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, cast
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import permissions
from gear.actions.acting import REFUSALS, Act
from gear.actions.submissions import once
from gear.models import User
from gear.queries import question
from gear.views.sending import refused_in, sent_values
from reports import queries
from reports.actions.promising import promise as note_promise
from reports.forms.week import PromiseForm, named
from reports.permissions import OFFICE, scope_of
from reports.queries.coming_weeks import coming_weeks
from reports.queries.promises import within_reach
from reports.rules.planning import USUAL
from reports.wording import Caps, tell
from reports.wording.beside import tell_beside
from reports.wording.coming_weeks import picture
from reports.wording.told import Crew

PAGE = Caps(500, 0, 0)


def week(request: HttpRequest) -> HttpResponse:
    return _shown(request)


def promise(request: HttpRequest) -> HttpResponse:
    """Note a promise for the ticked lines of one crew, and show the week again."""
    user, form = cast(User, request.user), PromiseForm(request.POST)
    form.fields["owner"].people = within_reach(user)
    ticked = [number.replace("\x00", "") for number in request.POST.getlist("items")]
    if not form.is_valid():
        return _shown(request, form=form, ticked=ticked, status=422)
    told, doing = form.cleaned_data, Act(user, id=form.cleaned_data["id"])

    def work() -> dict[str, Any]:
        rows = note_promise(
            ticked,
            owner=told["owner"],
            promised_on=told["promised_on"],
            note=told["note"] or "",
            asked=question(),
            scope=scope_of(user),
            act=doing,
        )
        return {"promises": [str(row.pk) for row in rows]}

    try:
        body = {"items": ticked, **sent_values(request, form)}
        answer, _is_new = once(doing.id, act="promise", body=body, by=user, work=work)
    except REFUSALS as error:
        return _shown(request, form=form, ticked=ticked, status=refused_in(form, error))
    count = len(answer["promises"])
    words = ngettext("%(owner)s: %(count)d line promised.", "%(owner)s: %(count)d lines promised.", count)
    messages.success(request, words % {"owner": told["owner"].name, "count": count})
    return redirect("week")


def _shown(
    request: HttpRequest,
    *,
    form: PromiseForm | None = None,
    ticked: list[str] | None = None,
    status: int = 200,
) -> HttpResponse:
    user, asked = cast(User, request.user), question()
    made = queries.weekly(asked, scope=scope_of(user))
    told = tell(made.report, phones=made.phones, caps=PAGE)
    may_promise = permissions.can(user, "promise")
    reached = within_reach(user).filter(role__in=permissions.WORKING) if may_promise else ()
    names = {one.name: named(one) for one in reached}
    homeless = form is not None and form.data.get("crew", "") not in {crew.name for crew in told.crews}
    context: dict[str, Any] = {
        "title": _("This week"),
        "problems": [error for errors in form.errors.values() for error in errors]
        if form and homeless
        else [],
        "told": told,
        "beside": tell_beside(made),
        "not_returned": made.old_pairs,
        "crews": [_crew(crew, names, form, ticked or []) for crew in told.crews],
        "may_promise": may_promise,
        "people": list(names.values()),
        "picture": picture(coming_weeks(asked, weeks=USUAL)) if user.role in OFFICE else None,
    }
    return render(request, "reports/week.html", context, status=status)


def _crew(crew: Crew, names: dict[str, str], sent: PromiseForm | None, ticked: list[str]) -> dict[str, Any]:
    """A crew with its form: what was sent where it was refused, else its foreman and the lines without a promise."""
    if sent is not None and sent.data.get("crew", "") == crew.name:
        form, chosen = sent, set(ticked)
    else:
        first = next((names[name] for name in crew.phone.foremen if name in names), "")
        form = PromiseForm(
            initial={"id": uuid4(), "crew": crew.name, "owner": first}, auto_id=f"id_{uuid4().hex[:8]}_%s"
        )
        chosen = {row.item_no for row in crew.rows if not row.promised or row.broken}
    return {
        "crew": replace(crew, rows=tuple(replace(row, chosen=row.item_no in chosen) for row in crew.rows)),
        "form": form,
    }
