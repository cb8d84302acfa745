"""Three scans at the counter: the person, the new pair, the old pair. In whatever order they come."""

from __future__ import annotations

from typing import Any, cast
from urllib.parse import urlencode
from uuid import UUID, uuid4

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from gear import queries, wording
from gear.actions.acting import REFUSALS, WORDS, Act
from gear.actions.exchange import Exchange, Unconfirmed, cautions_of, exchange
from gear.actions.submissions import once
from gear.forms.counter import ExchangeForm
from gear.models import Holder, Item, User
from gear.queries.counter import Scan, people_holding, scanned_at_counter
from gear.queries.entry_words import holder_word
from gear.queries.pairs import held_by, pair_with
from gear.rules import exchanging
from gear.rules.pairs import Pair, nearest
from gear.views.pair_words import days_words, shown_pair
from gear.views.sending import refused_in


def counter(request: HttpRequest) -> HttpResponse:
    """Asks for what is still missing; with all of it, what the pair gives and the form of the act."""
    to, new = _person(request), _piece(request)
    if request.method == "POST" and to and new:
        return _sent(request, to, new)
    if "scan" not in request.GET:
        return _page(request, to, new)
    scan = scanned_at_counter(request.GET["scan"], base_url=settings.BASE_URL)
    found_to, found_new = _understood(scan, to, new)
    if (found_to, found_new) != (to, new):
        return redirect(_address(found_to, found_new))
    return _page(request, to, new, scan=scan)


def _person(request: HttpRequest) -> Holder | None:
    pk = request.GET.get("to", "")
    return (
        people_holding().filter(pk=int(pk)).first()
        if pk.isascii() and pk.isdigit() and len(pk) < 16
        else None
    )


def _piece(request: HttpRequest) -> Item | None:
    return Item.objects.filter(item_no=request.GET.get("new", "").replace("\x00", "")).first()


def _understood(scan: Scan, to: Holder | None, new: Item | None) -> tuple[Holder | None, Item | None]:
    """A piece in somebody's hands says who stands at the counter, until that is known."""
    if scan.person and (to is None or scan.item is None):
        return scan.person, new
    return to, scan.item or new


def _address(to: Holder | None, new: Item | None) -> str:
    stated = {"to": to.pk if to else None, "new": new.item_no if new else None}
    query = urlencode({name: value for name, value in stated.items() if value is not None})
    return f"{reverse('counter')}?{query}" if query else reverse("counter")


SENT = ("days", "old", "replaces", "shelf", "confirm", "way")


class _NotFilledIn(Exception):
    """The form lacks something; it says what beside the field."""


def _sent(request: HttpRequest, to: Holder, new: Item) -> HttpResponse:
    """The act, once under the id of the form: sent again it is told again, whatever has changed since."""
    person, asked = cast(User, request.user), queries.question()
    pair = pair_with(new, asked)
    form = ExchangeForm(request.POST, by=person, likest=nearest(held_by(to, asked), pair.identity))
    wanted: list[Exchange] = []

    def work() -> dict[str, Any]:
        if not form.is_valid():
            raise _NotFilledIn
        wanted.append(form.exchange(to, new))
        exchange(wanted[0], act=Act(person, id=form.cleaned_data["id"]))
        return {"to": to.pk, "new": new.item_no}

    try:
        client_id = UUID(request.POST.get("id", ""))
        body = {"to": to.pk, "new": new.item_no, **{name: request.POST.getlist(name) for name in SENT}}
        once(client_id, act="exchange", body=body, by=person, work=work)
    except (_NotFilledIn, ValueError):
        form.is_valid()
        form.warn(cautions_of(pair, old=(), to=to))
        return _page(request, to, new, form=form, status=422)
    except Unconfirmed as error:
        form.warn(error.cautions)
        form.add_error("confirm", str(error))
        return _page(request, to, new, form=form, status=422)
    except REFUSALS as error:
        form.is_valid()
        form.warn(cautions_of(pair, old=(), to=to))
        return _page(request, to, new, form=form, status=refused_in(form, error))
    _tell(request, to, new, wanted[0] if wanted else None)
    return redirect("counter")


def _tell(request: HttpRequest, to: Holder, new: Item, done: Exchange | None) -> None:
    """What was done, with the answer that now holds. None where it had been done before."""
    answer = queries.answer(new.item_no, queries.question())
    told = _("%(person)s has %(pair)s: %(answer)s.") % {
        "person": to.name,
        "pair": answer.set_no or answer.item_no,
        "answer": wording.verdict(answer),
    }
    if done is None:
        messages.success(request, _("This was recorded before, once."))
        return
    old = ", ".join(one.item_no for one in done.old)
    if done.shelf is not None:
        where = {"old": old, "place": done.shelf.name}
        told += " " + _("The old pair %(old)s is at %(place)s.") % where
    elif old:
        told += " " + _("The old pair %s was not handed over: it is on the list until it is back.") % old
    (messages.warning if old and done.shelf is None else messages.success)(request, told)


def _page(
    request: HttpRequest,
    to: Holder | None,
    new: Item | None,
    *,
    scan: Scan | None = None,
    form: ExchangeForm | None = None,
    status: int = 200,
) -> HttpResponse:
    page: dict[str, Any] = {
        "title": _("Exchange a pair"),
        "to": to,
        "to_words": holder_word(to.as_fact()) if to else "",
        "others": [
            {"words": holder_word(one.as_fact()), "address": _address(one, new)}
            for one in (scan.names if scan else ())
        ],
        "problem": _problem(scan) if scan else "",
        "asks": _("Person: badge, name, or a piece they have")
        if to is None
        else _("New pair: scan either piece"),
        "state": {"to": to.pk if to else "", "new": new.item_no if new else ""},
        "without_person": _address(None, new),
        "without_pair": _address(to, None),
    }
    page |= _about(request, to, new, form)
    return render(request, "gear/counter.html", page, status=status)


def _about(
    request: HttpRequest, to: Holder | None, new: Item | None, form: ExchangeForm | None
) -> dict[str, Any]:
    """What the person has, what the new pair gives, and the form where it may be handed over."""
    asked = queries.question()
    present = held_by(to, asked) if to else []
    page: dict[str, Any] = {"present": [shown_pair(one) for one in present]}
    if new is None:
        return page
    pair = pair_with(new, asked)
    code = exchanging.refusal(pair)
    page |= {"pair": shown_pair(pair), "refusal": str(WORDS[code]) if code else "", **days_words(pair)}
    if to is None or code:
        return page
    likest = nearest(present, pair.identity)
    if form is None:
        form = ExchangeForm(
            by=cast(User, request.user),
            likest=likest,
            cautions=cautions_of(pair, old=(), to=to),
            lay_at=pair.holder.get("name", ""),
            initial={"id": uuid4(), "days": pair.days},
        )
    return {**page, "form": form, "first": not likest, "replaced": _replaced(likest)}


def _replaced(likest: list[Pair]) -> dict[str, Any] | None:
    return shown_pair(likest[0]) if likest else None


def _problem(scan: Scan) -> str:
    """Why a scan led nowhere."""
    if scan.account is not None:
        return _("No gear may be issued to %s. The supervisor changes that on the page of the person.") % (
            scan.account.name
        )
    if scan.pieces:
        numbers = ", ".join(one.item_no for one in scan.pieces)
        return _("This is the serial of %s. Scan the label, or type the item number.") % numbers
    if scan.names:
        return _("Several people fit. Choose one, or type more of the name.")
    if scan.item is not None:
        return _("This is the pair that is shown already: %s.") % scan.item.item_no
    return _("Nobody and nothing in the book fits. Scan again, or type the username or the item number.")
