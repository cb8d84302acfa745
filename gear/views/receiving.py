"""Receive one piece by hand: choose its kind, say what it is, and get its label code."""

from __future__ import annotations

from typing import Any, cast
from uuid import uuid4

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from gear import queries
from gear.actions.acting import REFUSALS, Act
from gear.actions.receipt import BadReceipt, receive_item
from gear.forms import receiving as forms
from gear.forms.receiving import ReceiveForm
from gear.models import KIND_NAMES, User
from gear.rules import codes
from gear.views.acts import shown_now
from gear.views.addresses import address_of
from gear.views.sending import refused_in


def receive(request: HttpRequest) -> HttpResponse:
    """The choice of a kind; with a kind, its form; after receipt, the label code."""
    person = cast(User, request.user)
    if request.method == "POST":
        return _sent(request, person)
    if done := request.GET.get("done"):
        return _received(request, done)
    kind, first = request.GET.get("kind", ""), forms.today(queries.question().as_of)
    if number := request.GET.get("like"):
        seen = queries.seen(number, queries.question())
        if seen.item is None or seen.facts is None:
            raise Http404(_("There is no item %s in the book.") % number)
        kind = seen.facts.kind or ""
        first |= forms.like(seen.item, seen.facts.identity)
    if kind not in KIND_NAMES:
        return render(request, "gear/receive_kind.html", {"title": _("Receive gear"), "kinds": _kinds()})
    form = ReceiveForm(kind=kind, by=person, initial={"id": uuid4(), **first})
    return _page(request, kind, form)


def _kinds() -> list[dict[str, Any]]:
    return [
        {
            "word": word,
            "address": f"{reverse('receive')}?{urlencode({'kind': kind})}",
            "batch_address": f"{reverse('receive_batch')}?{urlencode({'kind': kind})}",
        }
        for kind, word in KIND_NAMES.items()
    ]


def _sent(request: HttpRequest, person: User) -> HttpResponse:
    kind = request.POST.get("kind", "")
    if kind not in KIND_NAMES:
        page = {"title": _("Receive gear"), "kinds": _kinds(), "unknown": True}
        return render(request, "gear/receive_kind.html", page, status=422)
    form = ReceiveForm(request.POST, kind=kind, by=person)
    if not form.is_valid():
        return _page(request, kind, form, status=422)
    try:
        item = receive_item(form.cells(), act=Act(person, id=form.cleaned_data["id"]))
    except BadReceipt as error:
        form.add_problems(error)
        return _page(request, kind, form, status=422)
    except REFUSALS as error:
        return _page(request, kind, form, status=refused_in(form, error))
    return redirect(f"{reverse('receive')}?{urlencode({'done': item.item_no})}")


def _page(request: HttpRequest, kind: str, form: ReceiveForm, *, status: int = 200) -> HttpResponse:
    page = {
        "title": _("Receive: %s") % KIND_NAMES[kind],
        "kind": kind,
        "kind_word": KIND_NAMES[kind],
        "form": form,
        "groups": [
            (_("What it is"), [form[name] for name in ("item_no", *forms.OWN[kind])]),
            (_("What stands on it"), [form[name] for name in forms.MARKS]),
            (_("Receipt"), [form[name] for name in ("received_on", "holder")]),
        ],
    }
    return render(request, "gear/receive.html", page, status=status)


def _received(request: HttpRequest, item_no: str) -> HttpResponse:
    seen = queries.seen(item_no, queries.question())
    if seen.item is None or seen.facts is None:
        raise Http404(_("There is no item %s in the book.") % item_no)
    label = seen.facts.label or ""
    page = {
        "title": _("Received: %s") % item_no,
        "now": shown_now(seen),
        "code": codes.grouped(label) if label else "",
        "label_address": address_of("label", item_no) if label else "",
        "test_address": f"{address_of('log_test')}?{urlencode({'item': item_no})}"
        if address_of("log_test")
        else "",
        "like_address": f"{reverse('receive')}?{urlencode({'like': item_no})}",
    }
    return render(request, "gear/received.html", page)
