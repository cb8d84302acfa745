"""Receive many pieces of one make by a range of numbers and serials: state, look at every row, receive, print."""

from __future__ import annotations

from typing import Any, cast
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import queries
from gear.actions.acting import REFUSALS, Act
from gear.actions.delivery import BadBatch, Planned, plan, receive_batch, sentence_of
from gear.actions.submissions import once
from gear.forms.delivery import NAMES, SERIALS, WORKED, BatchForm, proposed
from gear.forms.receiving import OWN
from gear.models import KIND_NAMES, User
from gear.queries.labelling import RECEIVED
from gear.views.sending import refused_in, sent_values


def receive_many(request: HttpRequest) -> HttpResponse:
    """The form of a batch of one kind; sent, every row it would make; sent again, received and on to its labels."""
    person = cast(User, request.user)
    kind = (request.POST if request.method == "POST" else request.GET).get("kind", "")
    if kind not in KIND_NAMES:
        return redirect("receive")
    if request.method == "POST":
        return _sent(request, kind, person)
    initial = {"id": uuid4(), **proposed(kind, queries.question().as_of)}
    return _page(request, kind, BatchForm(kind=kind, by=person, initial=initial))


def _sent(request: HttpRequest, kind: str, person: User) -> HttpResponse:
    form = BatchForm(request.POST, kind=kind, by=person)
    if not form.is_valid():
        return _page(request, kind, form, status=422)
    doing = Act(person, id=form.cleaned_data["id"])
    wanted = request.POST.get("do") == "receive"

    def work() -> dict[str, Any]:
        planned = plan(form.batch(), act=doing)
        if planned.problems:
            raise BadBatch(planned.problems)
        if planned.fingerprint != form.cleaned_data["plan"]:
            raise NotAsShown
        items = receive_batch(form.batch(), papers=form.cleaned_data["papers"] or "", act=doing)
        return {"items": [item.item_no for item in items]}

    try:
        if not wanted:
            return _shown(request, kind, form, plan(form.batch(), act=doing))
        answer, is_new = once(doing.id, act=RECEIVED, body=_body(request, form), by=person, work=work)
    except BadBatch as error:
        return _shown(request, kind, form, Planned((), (), error.problems))
    except NotAsShown:
        return _shown(request, kind, form, plan(form.batch(), act=doing), changed=True)
    except REFUSALS as error:
        return _page(request, kind, form, status=refused_in(form, error))
    _tell(request, len(answer["items"]), is_new=is_new)
    return redirect(f"{reverse('labels')}?{urlencode({'which': 'batch', 'batch': str(doing.id)})}")


class NotAsShown(Exception):
    """The batch is another than the one that was shown: it is shown again before anything is received."""


def _body(request: HttpRequest, form: BatchForm) -> dict[str, list[str]]:
    return {name: value for name, value in sent_values(request, form).items() if name != "plan"}


def _tell(request: HttpRequest, count: int, *, is_new: bool) -> None:
    told = ngettext("%(count)s piece received.", "%(count)s pieces received.", count) % {"count": count}
    if not is_new:
        told = _("This batch was received before, once.")
    messages.success(
        request, f"{told} " + _("None can be issued before its first accepted test. Print their labels.")
    )


def _shown(
    request: HttpRequest, kind: str, form: BatchForm, planned: Planned, *, changed: bool = False
) -> HttpResponse:
    """Every row as it would be made, what is wrong with each beside it."""
    form.add_batch_problems(planned.problems)
    by_line: dict[int, list[str]] = {}
    for problem in planned.problems:
        if problem.line:
            by_line.setdefault(problem.line, []).append(sentence_of(problem, NAMES))
    _keep_plan(form, "" if planned.problems else planned.fingerprint)
    rows = [
        {"line": row.line, "cells": row.cells, "problems": by_line.get(row.line, ())} for row in planned.cells
    ]
    told = [sentence for line in sorted(by_line) for sentence in by_line[line]]
    page = {
        "rows": rows,
        "told": told[:20],
        "more": max(0, len(told) - 20),
        "changed": changed,
        "fine": not planned.problems,
        "total": len(rows),
        "notes": [sentence_of(note, NAMES) for note in planned.notes[:5]],
    }
    return _page(request, kind, form, status=422 if planned.problems else 200, shown=page)


def _keep_plan(form: BatchForm, fingerprint: str) -> None:
    data: Any = form.data.copy()
    data["plan"] = fingerprint
    form.data = data


def _page(
    request: HttpRequest,
    kind: str,
    form: BatchForm,
    *,
    status: int = 200,
    shown: dict[str, Any] | None = None,
) -> HttpResponse:
    def there(*names: str) -> list[Any]:
        return [form[name] for name in names if name in form.fields]

    own = [name for name in OWN[kind] if name != "hand"]
    page = {
        "title": _("Receive many: %s") % KIND_NAMES[kind],
        "kind": kind,
        "form": form,
        "shown": shown,
        "groups": [
            (_("What they are"), there(*own, "maker", "model", "lot", "made_on", "marked_expiry_on")),
            (_("How many, and their numbers"), there(*WORKED)),
            (_("Serials"), there(*SERIALS)),
            (_("Receipt"), there("received_on", "holder", "papers")),
        ],
    }
    return render(request, "gear/receive_batch.html", page, status=status)
