"""The look at the tool room: take the piece, read what to look at, say one of four outcomes and where."""

from __future__ import annotations

from typing import Any, cast
from urllib.parse import urlencode
from uuid import uuid4

from django.conf import settings
from django.contrib import messages
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import permissions, queries
from gear.actions import looks, sightings
from gear.actions.acting import REFUSALS, WORDS, Act
from gear.actions.submissions import once
from gear.forms.acts import Setting
from gear.forms.looks import ToolRoomLookForm
from gear.models import Item, ItemState, Photo, User
from gear.queries import Seen
from gear.queries.identified import meant_by
from gear.queries.look_words import checklist_of
from gear.queries.people import qualification_on
from gear.queries.photos import against
from gear.rules import transitions
from gear.views.acts import shown_now, told_in_short
from gear.views.instead import instead_of
from gear.views.sending import refused_in, sent_values

INSPECTOR = {
    "expired": gettext_lazy(
        "Your qualification to accept by eye is not valid today. You may clean, send for test or reject."
    ),
    "not_on_file": gettext_lazy(
        "Your qualification to accept by eye is not on file. What you accept is recorded with that remark."
    ),
}
WAITING = {
    "needs_cleaning": gettext_lazy("Needs cleaning"),
    "out_for_repair": gettext_lazy("Out for repair"),
    "rejected": gettext_lazy("Rejected"),
}


def look(request: HttpRequest) -> HttpResponse:
    """Asks for the item first; with one, the form of its kind."""
    if request.method == "POST":
        return _sent(request)
    typed = request.GET.get("item", "")
    if not typed.strip():
        return _ask(request)
    meant = meant_by(typed, base_url=settings.BASE_URL)
    if meant.item is None:
        return _ask(request, typed=typed, several=meant.items, status=404 if not meant.items else 200)
    setting = _setting(request, meant.item)
    barred = _barred(setting.seen)
    sightings.keep_if_scrapped(setting.seen, typed=typed, by=setting.by)
    form = None if barred else ToolRoomLookForm(setting=setting, initial={"id": uuid4()})
    return _page(request, setting, form, barred=barred, old_label=meant.old_label)


def _setting(request: HttpRequest, item: Item) -> Setting:
    seen = queries.seen(item.item_no, queries.question())
    return Setting(seen, cast(User, request.user), seen.answer.as_of, queries.rules_today().pack)


def _barred(seen: Seen) -> str:
    code = transitions.refusal("look", seen.facts) if seen.facts else None
    return str(WORDS[code]) if code else ""


def _ask(
    request: HttpRequest, *, typed: str = "", several: tuple[Item, ...] = (), status: int = 200
) -> HttpResponse:
    page = {
        "title": _("Look at a piece"),
        "typed": typed[:300],
        "nothing": bool(typed) and not several,
        "several": several,
        "waiting": _waiting(),
        **_done(request, request.GET.get("done", "").replace("\x00", "")),
    }
    return render(request, "gear/look.html", page, status=status)


def _done(request: HttpRequest, item_no: str) -> dict[str, Any]:
    """What follows from the look that was recorded just now, where the piece is out of use by it."""
    if not ItemState.objects.filter(item__item_no=item_no).exclude(condition="ok").exists():
        return {}
    asked = queries.question()
    seen = queries.seen(item_no, asked)
    rejected = seen.facts is not None and seen.facts.condition == "rejected"
    return {
        "done": item_no,
        "tag_for": item_no if rejected else "",
        "photos": _photos(request, seen),
        "offers": instead_of(seen, asked),
    }


def _photos(request: HttpRequest, seen: Seen) -> list[Photo]:
    person = cast(User, request.user)
    if seen.item is None or seen.facts is None:
        return []
    return against(seen.item, seen.facts, to=person, depot=permissions.bound_to(person))


def _waiting() -> list[dict[str, Any]]:
    """How many pieces wait for cleaning, for repair and for destruction, each with its list."""
    counted = ItemState.objects.filter(condition__in=WAITING).values_list("condition").annotate(Count("pk"))
    counts = dict(counted)
    lists = {name: f"{reverse('find')}?{urlencode({'q': words})}" for name, words in WAITING.items()}
    lists["rejected"] = reverse("rejects")
    return [
        {"words": words, "count": counts.get(name, 0), "address": lists[name]}
        for name, words in WAITING.items()
    ]


def _sent(request: HttpRequest) -> HttpResponse:
    item = Item.objects.filter(item_no=request.POST.get("item_no", "").replace("\x00", "")).first()
    if item is None:
        return _ask(request, typed=request.POST.get("item_no", ""), status=404)
    setting = _setting(request, item)
    form = ToolRoomLookForm(request.POST, setting=setting)
    if not form.is_valid():
        return _page(request, setting, form, status=422)
    stated = form.cleaned_data
    doing = Act(setting.by, occurred_on=form.happened_on, id=stated["id"])

    def work() -> dict[str, Any]:
        looks.look(
            item,
            outcome=stated["outcome"],
            words=stated["words"],
            place=stated["place"],
            note=stated["note"] or "",
            cleaned=bool(stated.get("cleaned")),
            act=doing,
        )
        return {"item": item.item_no}

    try:
        body = {"item": item.item_no, **sent_values(request, form)}
        _answer, is_new = once(doing.id, act="look", body=body, by=setting.by, work=work)
    except REFUSALS as error:
        return _page(request, setting, form, status=refused_in(form, error))
    told = told_in_short(queries.answer(item.item_no, queries.question()))
    done = _("The look is recorded.") if is_new else _("This look was recorded before, once.")
    messages.success(request, f"{done} {told}")
    return redirect(f"{reverse('look')}?{urlencode({'done': item.item_no})}")


def _page(
    request: HttpRequest,
    setting: Setting,
    form: ToolRoomLookForm | None,
    *,
    barred: str = "",
    old_label: bool = False,
    status: int = 200,
) -> HttpResponse:
    standing = qualification_on(setting.by, setting.today)
    page = {
        "title": _("Look at a piece"),
        "now": shown_now(setting.seen),
        "form": form,
        "barred": barred,
        "old_label": old_label,
        "photos": _photos(request, setting.seen),
        "checklist": checklist_of(setting.identity.get("kind")),
        "inspector": {
            "trouble": INSPECTOR.get(standing, ""),
            "class": "problem" if standing == "expired" else "warning",
        },
    }
    return render(request, "gear/look.html", page, status=status)
