"""The page about a restored record: what was put back, what may be missing, and who answered for it."""

from __future__ import annotations

from typing import Any

from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
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
    page = {
        "title": _("Restored record"),
        "waiting": restored.waiting(),
        "history": [_told(entry) for entry in restored.history()],
        "may_answer": permissions.can(request.user, "sign_restore"),
    }
    return render(request, "gear/restored.html", page)


def _told(entry: Entry) -> dict[str, Any]:
    facts = entry.facts
    if entry.kind == restored.RESTORED:
        what = _("Put back from a backup made at %s") % facts.get("made_at", "")
    elif facts.get("how") == "seal":
        what = _("Compared with the seal held outside")
    else:
        what = _("Signed for: %s") % facts.get("reason", "")
    seal, given_up = facts.get("seal", ""), facts.get("outside", "")
    by = entry.by.name if entry.by else _("by command")
    return {"at": entry.recorded_at, "what": what, "seal": seal, "given_up": given_up, "by": by}


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
