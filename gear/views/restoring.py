"""The page about a restored record: what was put back, what may be missing, and who answered for it."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import permissions
from gear.actions import restored as acts
from gear.actions.acting import Act
from gear.forms.restoring import AcceptForm
from gear.models import Entry
from gear.queries import restored
from gear.views.people import Change


def restored_record(request: HttpRequest) -> HttpResponse:
    waiting = restored.waiting()
    page = {
        "title": _("Restored record"),
        "waiting": waiting,
        "made_at": _moment(waiting.entry.facts.get("made_at")) if waiting and waiting.entry else "",
        # Never the hash: whoever answers must have it from outside, not from this page.
        "seal": _number(waiting.seal) if waiting else "",
        "outside": _number(waiting.outside_seal) if waiting else "",
        "history": [_told(entry) for entry in restored.history()],
        "may_answer": permissions.can(request.user, "sign_restore"),
    }
    return render(request, "gear/restored.html", page)


def _told(entry: Entry) -> dict[str, Any]:
    facts = entry.facts
    if entry.kind == restored.RESTORED:
        what = _("Put back from a backup made at %s") % _moment(facts.get("made_at"))
    elif facts.get("how") == "seal":
        what = _("Compared with the seal held outside")
    else:
        what = _("Signed for: %s") % facts.get("reason", "")
    seal, given_up = _number(facts.get("seal")), _number(facts.get("outside"))
    by = entry.by.name if entry.by else _("by command")
    return {"at": entry.recorded_at, "what": what, "seal": seal, "given_up": given_up, "by": by}


def _number(seal: Any) -> str:
    return str(seal or "").partition(":")[0]


def _moment(text: Any) -> str:
    """A moment of the record as the pages write it, in the site's zone; as it stands where it cannot be read."""
    try:
        return date_format(timezone.localtime(datetime.fromisoformat(str(text))), "Y-m-d H:i")
    except ValueError:
        return str(text or "")


class Accept(Change):
    """One form for both ways, so that nobody signs without having been asked for the seal."""

    form_class = AcceptForm
    title = gettext_lazy("Answer for a restored record")
    lead = gettext_lazy(
        "Type the newest seal that you hold outside this machine. Where you hold none, or it is newer than this "
        "record, look for a newer backup first. Else say why you answer for what may be missing: failed tests, "
        "holds, issues."
    )
    button = gettext_lazy("Answer for it")

    def do(self, form: Form, act: Act) -> str:
        stated = form.cleaned_data
        acts.accept(seal=stated["seal"], reason=stated["reason"], password=stated["current"], act=act)
        return _("The record counts again. What was entered since the backup must be entered anew.")

    def back(self) -> str:
        return reverse("restored_record")
