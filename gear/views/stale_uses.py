"""Pieces that were used on data older than what is known: who, when, what the phone had told; and the note on it."""

from __future__ import annotations

from typing import Any, cast
from uuid import uuid4

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from gear import permissions, wording
from gear.actions.acting import REFUSALS, Act
from gear.actions.stale_uses import note_stale_use
from gear.actions.submissions import once
from gear.models import Item, User
from gear.queries.stale_uses import StaleUse, noted_stale_uses, open_stale_uses
from gear.views.evidence import record_address
from gear.views.moments import moment
from gear.views.reasons import said_once
from gear.views.sending import refused_in, sent_values
from gear.views.sightings import NoteForm


def stale_uses(request: HttpRequest) -> HttpResponse:
    now = timezone.now()
    page = {
        "title": _("Used on old data"),
        "open": [_row(one) for one in open_stale_uses(now)],
        "noted": [_row(one) for one in noted_stale_uses(now)],
        "may_note": permissions.can(request.user, "acknowledge"),
    }
    return render(request, "gear/stale_uses.html", page)


def stale_use_note(request: HttpRequest, item_no: str) -> HttpResponse:
    """The note on one piece, which closes everything that is open for it."""
    item = Item.objects.filter(item_no=item_no).first()
    found = open_stale_uses(timezone.now(), item) if item else []
    if item is None or not found and request.method != "POST":
        raise Http404(_("Nothing is open for this piece."))
    form = NoteForm(request.POST or None, initial={"id": uuid4()})
    if request.method == "POST" and form.is_valid():
        doing = Act(cast(User, request.user), id=form.cleaned_data["id"])

        def work() -> dict[str, Any]:
            return {"entry": str(note_stale_use(item, text=form.cleaned_data["text"], act=doing).pk)}

        try:
            body = {"item": item.item_no, **sent_values(request, form)}
            once(doing.id, act="note_stale_use", body=body, by=doing.by, work=work)
        except REFUSALS as error:
            return _form(request, item, found, form, status=refused_in(form, error))
        messages.success(request, _("%s: your note stands on its record.") % item.item_no)
        return redirect("stale_uses")
    return _form(request, item, found, form, status=422 if form.errors else 200)


def _form(
    request: HttpRequest, item: Item, found: list[StaleUse], form: NoteForm, *, status: int
) -> HttpResponse:
    page = {"title": _("%s was used") % item.item_no, "rows": [_row(one) for one in found], "form": form}
    return render(request, "gear/stale_use_note.html", page, status=status)


def _row(one: StaleUse) -> dict[str, Any]:
    by, note = one.look.by, one.note
    age = one.told.get("data_age_s")
    return {
        "item_no": one.item.item_no,
        "who": by.name if by else _("nobody who confirmed it"),
        "device": one.look.device,
        "at": moment(one.look.occurred_at),
        "sent_at": moment(one.look.recorded_at),
        "told": wording.VERDICTS.get(str(one.told.get("verdict")), "").format(date="").strip(),
        "hours": round(age / 3600, 1) if isinstance(age, int) else None,
        "why": [wording.sentence(reason) for reason in said_once(one.answer.reasons)],
        "record": record_address(one.item.item_no, one.look.occurred_at.isoformat()),
        "note": note.entry.facts.get("note", "") if note else "",
        "noted_by": note.entry.by.name if note and note.entry.by else "",
        "noted_at": moment(note.entry.recorded_at) if note else "",
    }
