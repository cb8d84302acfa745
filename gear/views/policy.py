"""The site's rules: which pack and policy count, since when and why; a change is looked at before it is made."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.generic import View

from gear import permissions, wording
from gear.actions import policy as acts
from gear.actions.acting import Act, Refused
from gear.forms import policy as forms
from gear.models import HOLDER_NAMES, KIND_NAMES
from gear.permissions import NotAllowed
from gear.queries import site_rules
from gear.queries.site_rules import Changed, RuleEntry
from gear.rules.packs import PackRefused
from gear.rules.policy import PolicyRefused, SitePolicy

RULE_NAMES = {"pack_adopted": gettext_lazy("Rule pack"), "policy_set": gettext_lazy("Site policy")}
STATE_NAMES = {
    "in force": gettext_lazy("in force"),
    "to come": gettext_lazy("to come"),
    "past": gettext_lazy("past"),
}
VERDICT_NAMES = {
    "good": gettext_lazy("good"),
    "stop": gettext_lazy("stop"),
    "unknown": gettext_lazy("unknown"),
}


def site_policy(request: HttpRequest) -> HttpResponse:
    today = acts.today()
    context: dict[str, Any] = {
        "today": today,
        "history": [_told(entry) for entry in site_rules.history(today)],
        "may_change": permissions.can(request.user, "set_policy"),
    }
    try:
        context["pack"] = site_rules.pack_on(today)
        context["choices"] = choices_in_words(site_rules.policy_on(today))
    except (PackRefused, PolicyRefused) as problem:
        context["trouble"] = str(problem)
    return render(request, "gear/site_policy.html", context)


def _told(entry: RuleEntry) -> dict[str, Any]:
    return {
        "entry": entry,
        "name": RULE_NAMES[entry.kind],
        "state": STATE_NAMES[entry.state],
        "from": wording.day(entry.effective_from),
        "choices": choices_in_words(entry.policy) if entry.policy else [],
    }


def choices_in_words(chosen: SitePolicy) -> list[tuple[str, str]]:
    """(what is chosen, the choice) for everything a policy adds to its pack."""
    found = []
    for kind, name in KIND_NAMES.items():
        spans = [
            f"{title.lower()} {forms.span_in_words(span)}"
            for field, title in forms.SPANS.items()
            if (span := getattr(chosen, field).get(kind))
        ]
        if spans:
            found.append((str(name), ", ".join(spans)))
    found += [(str(label), _("yes")) for name, (label, _text) in forms.FLAGS.items() if getattr(chosen, name)]
    days = ngettext("%d day", "%d days", chosen.due_soon_days) % chosen.due_soon_days
    hours = ngettext("%d hour", "%d hours", chosen.phone_hours) % chosen.phone_hours
    return [
        *found,
        (_("Due soon"), days),
        (_("A phone answers without a network for"), hours),
        (_("Source"), chosen.source),
    ]


class _RuleChange(View, ABC):
    """A form, then what it would do to every item, then a reason and the password: only the last one records."""

    title: str | Promise = ""
    template_name = "gear/rule_form.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        try:
            form = self.form(initial={"effective_from": acts.today(), **self.initial()})
        except (PackRefused, PolicyRefused) as problem:
            return self._unreadable(problem)
        return self._asked(form)

    def post(self, request: HttpRequest) -> HttpResponse:
        try:
            form = self.form(request.POST)
        except (PackRefused, PolicyRefused) as problem:
            return self._unreadable(problem)
        if not form.is_valid() or request.POST.get("step") == "change":
            return self._asked(form)
        if request.POST.get("step") != "confirm":
            return self._shown(form, forms.ConfirmForm())
        confirm = forms.ConfirmForm(request.POST)
        if not confirm.is_valid():
            return self._shown(form, confirm)
        try:
            self.do(form, confirm, Act(request.user))
        except (Refused, NotAllowed) as problem:
            field = getattr(problem, "field", "")
            confirm.add_error(field if field in confirm.fields else None, str(problem))
            return self._shown(form, confirm)
        messages.success(request, _("Recorded. It counts from %s.") % self._first_day(form))
        return redirect("site_policy")

    @abstractmethod
    def form(self, *args: Any, **kwargs: Any) -> Any:
        """The form of this change."""

    def initial(self) -> dict[str, Any]:
        return {}

    @abstractmethod
    def do(self, form: Any, confirm: forms.ConfirmForm, act: Act) -> None:
        """Record the change."""

    def _decided(self, form: Any, confirm: forms.ConfirmForm, act: Act) -> dict[str, Any]:
        """What both kinds of change are recorded with."""
        return {
            "effective_from": form.cleaned_data["effective_from"],
            "reason": confirm.cleaned_data["reason"],
            "password": confirm.cleaned_data["current"],
            "seen": self.request.POST.get("seen", ""),
            "act": act,
        }

    def _first_day(self, form: Any) -> str:
        return wording.day(form.cleaned_data["effective_from"])

    def _asked(self, form: Any) -> HttpResponse:
        return render(self.request, self.template_name, {"form": form, "title": self.title})

    def _shown(self, form: Any, confirm: forms.ConfirmForm) -> HttpResponse:
        change = site_rules.change(form.proposed)
        context = {
            "title": self.title,
            "form": form,
            "confirm": confirm,
            "change": change,
            "first_day": self._first_day(form),
            "counts": [_counted(count) for count in change.counts],
            "lines": [_line(one) for one in change.lines],
            "unshown": change.total - len(change.lines),
            "seen": site_rules.version(),
            "proposal": self.proposal(form),
        }
        return render(self.request, "gear/rule_preview.html", context)

    @abstractmethod
    def proposal(self, form: Any) -> list[tuple[str, str]]:
        """What is proposed, in words."""

    def _unreadable(self, problem: Exception) -> HttpResponse:
        context = {"title": self.title, "trouble": str(problem)}
        return render(self.request, self.template_name, context, status=503)


class ChangePolicy(_RuleChange):
    title = gettext_lazy("New site policy")
    template_name = "gear/policy_form.html"

    def form(self, *args: Any, **kwargs: Any) -> forms.PolicyForm:
        return forms.PolicyForm(*args, pack=site_rules.pack_on(acts.today()), **kwargs)

    def initial(self) -> dict[str, Any]:
        return forms.filled_with(site_rules.policy_on(acts.today()))

    def do(self, form: forms.PolicyForm, confirm: forms.ConfirmForm, act: Act) -> None:
        acts.set_policy(form.policy, **self._decided(form, confirm, act))

    def proposal(self, form: forms.PolicyForm) -> list[tuple[str, str]]:
        return choices_in_words(form.policy)


class AdoptPack(_RuleChange):
    title = gettext_lazy("Adopt a rule pack")

    def form(self, *args: Any, **kwargs: Any) -> forms.PackForm:
        return forms.PackForm(*args, **kwargs)

    def do(self, form: forms.PackForm, confirm: forms.ConfirmForm, act: Act) -> None:
        acts.adopt_pack(form.name, version=form.version, **self._decided(form, confirm, act))

    def proposal(self, form: forms.PackForm) -> list[tuple[str, str]]:
        chosen = dict(form.fields["pack"].choices)[form.cleaned_data["pack"]]  # type: ignore[attr-defined]
        return [(_("Rule pack"), chosen), (_("SHA-256 of its file"), form.proposed.facts["sha256"])]


def _counted(count: tuple[tuple[str, str, str], int]) -> dict[str, Any]:
    (kind, before, after), number = count
    return {
        "holder": HOLDER_NAMES.get(kind, _("nowhere")),
        "before": VERDICT_NAMES[before],
        "after": VERDICT_NAMES[after],
        "same": before == after,
        "number": number,
    }


def _line(one: Changed) -> dict[str, Any]:
    return {
        "item_no": one.after.item_no,
        "kind": KIND_NAMES.get(one.after.kind or "", one.after.kind or ""),
        "holder": one.holder.get("name", "–"),
        "before": one.before,
        "after": one.after,
        "before_words": wording.verdict(one.before),
        "after_words": wording.verdict(one.after),
        "before_why": ", ".join(dict.fromkeys(wording.short(reason) for reason in one.before.reasons)),
        "after_why": ", ".join(dict.fromkeys(wording.short(reason) for reason in one.after.reasons)),
    }
