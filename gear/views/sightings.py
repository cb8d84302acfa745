"""Scrapped pieces that turned up: who was told, when and where; and the note of whoever looked into it."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, cast
from uuid import uuid4

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import permissions
from gear.actions.acting import REFUSALS, Act
from gear.actions.sightings import acknowledge
from gear.actions.submissions import once
from gear.forms.acts import LONGEST_REASON
from gear.forms.strict import PlainForm, text_field
from gear.models import GivenAnswer, Item, User
from gear.queries.entry_words import holder_word
from gear.queries.sightings import Sighting, noted_sightings, open_sightings
from gear.views.moments import moment
from gear.views.sending import refused_in, sent_values

KEPT_DAYS = 90
SHOWN = 6  # answers of one piece; further ones are counted


class NoteForm(PlainForm):
    """What came of it."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    text = text_field(gettext_lazy("What did you find, and what was done?"), most=LONGEST_REASON)


def sightings(request: HttpRequest) -> HttpResponse:
    now = timezone.now()
    page = {
        "title": _("Scrapped pieces that turned up"),
        "open": [_row(one) for one in open_sightings()],
        "noted": [_row(one) for one in noted_sightings(now - timedelta(days=KEPT_DAYS))],
        "may_note": permissions.can(request.user, "acknowledge"),
    }
    return render(request, "gear/sightings.html", page)


def _row(sighting: Sighting) -> dict[str, Any]:
    holder = sighting.item.state.holder
    return {
        "item_no": sighting.item.item_no,
        "destroyed": sighting.destroyed,
        "holder": holder_word(holder.as_fact()) if holder else _("nobody"),
        "answers": [_answer(one) for one in sighting.answers[:SHOWN]],
        "further": max(0, len(sighting.answers) - SHOWN),
        "note": sighting.note.entry.facts.get("note", "") if sighting.note else "",
        "noted_by": sighting.note.entry.by.name if sighting.note and sighting.note.entry.by else "",
        "noted_at": moment(sighting.note.entry.recorded_at) if sighting.note else "",
    }


def _answer(answer: GivenAnswer) -> dict[str, str]:
    by = answer.by
    return {
        "at": moment(answer.at),
        "who": by.name if by else _("somebody who was not signed in"),
        "crew": by.crew.name if by and by.crew else "",
        "device": answer.device,
    }


def sighting_note(request: HttpRequest, item_no: str) -> HttpResponse:
    """The note on one piece, which closes every sighting of it that is open."""
    item = Item.objects.filter(item_no=item_no).first()
    found = open_sightings(item) if item else []
    if item is None or not found and request.method != "POST":
        raise Http404(_("Nothing is open for this piece."))
    form = NoteForm(request.POST or None, initial={"id": uuid4()})
    if request.method == "POST" and form.is_valid():
        doing = Act(cast(User, request.user), id=form.cleaned_data["id"])

        def work() -> dict[str, Any]:
            return {"entry": str(acknowledge(item, text=form.cleaned_data["text"], act=doing).pk)}

        try:
            body = {"item": item.item_no, **sent_values(request, form)}
            once(doing.id, act="acknowledge", body=body, by=doing.by, work=work)
        except REFUSALS as error:
            return _form(request, item, found, form, status=refused_in(form, error))
        messages.success(request, _("%s: your note stands on its record.") % item.item_no)
        return redirect("sightings")
    return _form(request, item, found, form, status=422 if form.errors else 200)


def _form(
    request: HttpRequest, item: Item, found: list[Sighting], form: NoteForm, *, status: int
) -> HttpResponse:
    page = {
        "title": _("%s turned up") % item.item_no,
        "row": _row(found[0]) if found else None,
        "form": form,
    }
    return render(request, "gear/sighting_note.html", page, status=status)
