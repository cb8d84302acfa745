"""Post a bench session: what would be recorded, what stays out and why, a typed count, and what to do next."""

from __future__ import annotations

from collections import Counter
from typing import Any, cast
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear.actions.acting import REFUSALS, Act
from gear.actions.submissions import once
from gear.models import User
from gear.queries import described
from gear.views.addresses import address_of
from gear.views.sending import refused_in, sent_values
from inspections import queries
from inspections import wording as words
from inspections.actions.bench_posting import BARS, Plan, post, preview
from inspections.forms.bench import CountForm
from inspections.models import BenchSession
from inspections.rules.testfacts import recorded, verdict_of
from inspections.views import bench_words as told
from inspections.views.bench_sessions import heading

ORDER = ("failed", "void", "unjudged", "accepted")


def bench_post(request: HttpRequest, session_no: str) -> HttpResponse:
    """The preview, and with the count typed, the act; once posted, what became of the rows."""
    session = get_object_or_404(
        BenchSession.objects.select_related("opened_by", "posted_by"), number=session_no
    )
    user = cast(User, request.user)
    if not session.is_open and request.method != "POST":
        return _posted(request, session)
    form = CountForm(request.POST or None, initial={"id": uuid4()})
    if request.method != "POST":
        return _page(request, session, form)
    if not form.is_valid():
        return _page(request, session, form, status=422)
    act, count = Act(user, id=form.cleaned_data["id"]), form.cleaned_data["count"]

    def work() -> dict[str, Any]:
        plan = post(session, count=count, act=act)
        return {"session": session.number, "count": plan.count, "left_out": len(plan.left_out)}

    body = {**sent_values(request, form), "session": session.number}
    try:
        done, _is_new = once(act.id, act="post_session", body=body, by=user, work=work)
    except REFUSALS as error:
        session.refresh_from_db()
        if not session.is_open:
            messages.warning(request, str(error))
            return redirect("bench_post", session.number)
        return _page(request, session, form, status=refused_in(form, error))
    recorded = ngettext("%s row was recorded.", "%s rows were recorded.", done["count"]) % done["count"]
    messages.success(request, recorded)
    return redirect("bench_post", session.number)


def _page(request: HttpRequest, session: BenchSession, form: CountForm, *, status: int = 200) -> HttpResponse:
    user = cast(User, request.user)
    plan = preview(session, act=Act(user))
    counts = Counter(one.outcome for one in plan.posting)
    page = {
        **heading(session, user),
        "title": _("Post %s") % session.number,
        "form": form,
        "plan": plan,
        "bars": [BARS[code]() for code in plan.bars],
        "groups": [
            (told.SHAPES[name], told.OUTCOMES[name], counts[name], _lines(plan, name)) for name in ORDER
        ],
        "left_out": [
            (told.line(one.row), str(told.LEFT_OUT.get(one.code, one.told))) for one in plan.left_out
        ],
        "missing": _missing(plan),
        "drifts": [told.drift(one) for one in plan.board.drifts],
        "struck": [(row, told.reading(row), told.OUTCOMES[row.outcome]) for row in plan.board.struck],
        "sets": told.ground_sets(queries.ground_sets(plan.board)),
        "posted": [told.line(one) for one in plan.board.rows if one.row.test_id],
    }
    return render(request, "inspections/bench_post.html", page, status=status)


def _lines(plan: Plan, outcome: str) -> list[tuple[Any, list[str]]]:
    """(row, findings as they would be recorded) of an outcome, in the order of typing."""
    return [
        (told.line(one.row), [words.finding(found) for found in recorded(verdict_of(one.judgement)).codes])
        for one in plan.posting
        if one.outcome == outcome
    ]


def _missing(plan: Plan) -> list[dict[str, Any]]:
    """Pieces of the pairs and grounding sets at hand that nobody tested."""
    states = queries.mates_missing([one.row for one in plan.board.rows])
    return [
        {
            "item": state.item,
            "heading": described.heading(
                {
                    "kind": state.item.item_type.kind,
                    "class": state.item.item_type.cls,
                    "hand": state.item.hand,
                    "size": state.item.item_type.size,
                    "cable_size": state.item.item_type.cable_size,
                    "cable_length_m": state.item.item_type.cable_length_m,
                }
            ),
            "set_no": state.gear_set.set_no if state.gear_set else "",
            "holder": state.holder,
        }
        for state in states
    ]


def _posted(request: HttpRequest, session: BenchSession) -> HttpResponse:
    """What became of the rows, and what to do with the pieces."""
    found = queries.board(session)
    rows: dict[str, list[Any]] = {name: [] for name in ORDER}
    for one in found.rows:
        rows[one.outcome].append(told.line(one))
    page = {
        **heading(session, cast(User, request.user)),
        "title": _("Bench session %s") % session.number,
        "groups": [
            (name, told.SHAPES[name], told.OUTCOMES[name], rows[name]) for name in ORDER if rows[name]
        ],
        "sets": told.ground_sets(queries.ground_sets(found)),
        "struck": [(row, told.reading(row), told.OUTCOMES[row.outcome]) for row in found.struck],
        "rejects": address_of("rejects"),
        "certificates": address_of("certificates"),
    }
    return render(request, "inspections/bench_posted.html", page)
