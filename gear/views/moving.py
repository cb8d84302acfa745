"""Move a whole truck, lend a few pieces, and see what each has: one act, after a look at the list."""

from __future__ import annotations

from collections import Counter
from typing import Any, cast
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import queries, wording
from gear.actions.acting import REFUSALS, Act
from gear.actions.moving import Removal, load_to, move_everything
from gear.actions.submissions import once
from gear.forms.moving import ConfirmForm, MoveAllForm
from gear.models import CONDITION_NAMES, Holder, User
from gear.queries import described
from gear.queries.entry_words import holder_word
from gear.queries.loads import Loaded, load_of
from gear.rules.loads import Load, Told
from gear.views.reasons import said_once
from gear.views.sending import refused_in, sent_values


def move_all(request: HttpRequest) -> HttpResponse:
    """The choice; with a source its load list; with both, what would happen to each piece and the act itself."""
    asked_for = any(name in request.GET for name in ("source", "to"))
    form = MoveAllForm(request.GET if asked_for else None)
    if not asked_for:
        return _page(request, form)
    if not form.is_valid():
        return _page(request, form, status=422)
    source, to, only = (form.cleaned_data[name] for name in ("source", "to", "only"))
    if to is None:
        return _page(request, form, source=source)
    load = load_to(source, to, only=only)
    if request.method == "POST":
        return _sent(request, form, load)
    confirm = ConfirmForm(blocked=len(load.blocked), initial={"id": uuid4(), "shown": load.shown})
    return _page(request, form, source=source, to=to, load=load, confirm=confirm)


def _sent(request: HttpRequest, form: MoveAllForm, load: Load) -> HttpResponse:
    source, to, only = (form.cleaned_data[name] for name in ("source", "to", "only"))
    # The choices of the form are those of the list that was shown, whatever it is now.
    confirm = ConfirmForm(request.POST, blocked=max(len(load.blocked), "aside" in request.POST))
    whole = {"source": source, "to": to, "load": load, "confirm": confirm}
    if not confirm.is_valid():
        return _page(request, form, **whole, status=422)
    stated, person = confirm.cleaned_data, cast(User, request.user)
    doing = Act(person, id=stated["id"])
    wanted = Removal(source, to, stated["shown"], confirm.aside_chosen, only, stated["note"] or "")

    def work() -> dict[str, Any]:
        return {"count": len(move_everything(wanted, act=doing))}

    try:
        body = {"source": source.pk, "to": to.pk, "only": list(only), **sent_values(request, confirm)}
        answer, _is_new = once(doing.id, act="move_all", body=body, by=person, work=work)
    except REFUSALS as error:
        status = refused_in(confirm, error)
        confirm.data = {**confirm.data.dict(), "shown": load.shown}
        return _page(request, form, **whole, status=status)
    told = ngettext("%(count)d piece moved to %(to)s.", "%(count)d pieces moved to %(to)s.", answer["count"])
    messages.success(request, told % {"count": answer["count"], "to": to.name})
    return redirect(f"{reverse('move_all')}?{urlencode({'source': to.pk})}")


def _page(
    request: HttpRequest,
    form: MoveAllForm,
    *,
    source: Holder | None = None,
    to: Holder | None = None,
    load: Load | None = None,
    confirm: ConfirmForm | None = None,
    status: int = 200,
) -> HttpResponse:
    asked = queries.question()
    page: dict[str, Any] = {"title": _("Move a whole truck"), "form": form, "confirm": confirm}
    if load is not None and source and to:
        page |= {
            "source": source,
            "to": to,
            "goes": [_row(one) for one in load.goes],
            "blocked": [_row(one) for one in load.blocked],
            "stays": [_row(one) for one in load.stays],
            "count": len(load.goes),
        }
    lists = [to] if load is not None and to else [source] if source else []
    page["lists"] = [_list(one, load_of(one, asked)) for one in lists]
    return render(request, "gear/move_all.html", page, status=status)


def _list(holder: Holder, loaded: list[Loaded]) -> dict[str, Any]:
    """The load list of a holder: how many of each kind, and every piece."""
    kinds = Counter(described.kind_word(one.facts.kind) for one in loaded)
    return {
        "name": holder_word(holder.as_fact()),
        "kinds": sorted(kinds.items()),
        "rows": [{**_row((one.answer, one.facts)), "note": one.note} for one in loaded],
    }


def _row(told: Told) -> dict[str, Any]:
    answer, facts = told
    condition = "" if facts.condition == "ok" else str(CONDITION_NAMES[facts.condition])
    return {
        "item_no": facts.item_no,
        "what": described.heading(facts.identity),
        "set_no": facts.set_no or "",
        "verdict": answer.verdict,
        "words": wording.verdict(answer),
        "condition": condition,
        "why": [wording.sentence(one) for one in said_once(answer.reasons)],
        "since": wording.day(facts.holder_since) if facts.holder_since else "",
    }
