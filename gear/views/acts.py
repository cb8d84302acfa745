"""What a person may do to one item now: as links on its pages, and as the page on which it is done."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, cast
from urllib.parse import urlencode
from uuid import uuid4

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from gear import permissions, queries, wording
from gear.actions.acting import REFUSALS, WORDS, Act, keeping_refusals
from gear.actions.submissions import once
from gear.forms.acts import ActForm, HandOverForm, Setting
from gear.models import User
from gear.permissions import NotAllowed
from gear.queries import Seen, described
from gear.rules import transitions
from gear.rules.fold import ItemFacts
from gear.rules.readiness import HANDED, Answer
from gear.views.addresses import address_of
from gear.views.instead import nearest_in_words
from gear.views.reasons import said_once
from gear.views.sending import refused_in, sent_values
from gear.views.verbs import VERBS, Verb

AT_THE_TRUCK = ("inspect_before_use", "hold", "reject", "report_event")
# What somebody reports of a piece that they wanted to use.
TAKES_OUT = frozenset({*AT_THE_TRUCK, "report_lost"})
# verb: the name under which roles and conditions know it
_RIGHTS = {"form_set": "mate"}
_CHANGES = {"form_set": "mate", "inspect_before_use": "inspect"}
LONG_LIST = 30  # holders; beyond it a field to narrow the list is offered


@dataclass(frozen=True)
class ActLink:
    """One act: its verb, its words, where it is done."""

    verb: str
    words: str
    address: str


def acts_for(user: User, facts: ItemFacts, *, verbs: tuple[str, ...] = ("log_test", *VERBS)) -> list[ActLink]:
    """Links to what the person's role and the item's condition allow; empty where the service has no such page."""
    return [
        ActLink(verb, str(_title(verb)), address)
        for verb in verbs
        if permissions.can(user, _RIGHTS.get(verb, verb))
        and not closed(verb, facts)
        and (address := _address(verb, facts.item_no))
    ]


def _title(verb: str) -> Any:
    return _("Log a test") if verb == "log_test" else VERBS[verb].title


def _address(verb: str, item_no: str) -> str:
    if verb != "log_test":
        return address_of("act", item_no, verb)
    address = address_of("log_test")
    return address and f"{address}?{urlencode({'item': item_no})}"


def closed(verb: str, facts: ItemFacts) -> str:
    """The code of why the act cannot even be tried on an item with these facts; empty when it can.

    The act itself judges again, with everything else it needs.
    """
    if verb == "split" and facts.set_no is None:
        return "NOT_IN_SET"
    if verb in ("mate", "form_set"):
        if facts.set_no is not None:
            return "ALREADY_IN_SET"
        if (
            (facts.kind == "grounding_jumper") != (verb == "form_set")
            or verb == "mate"
            and facts.kind not in HANDED
        ):
            return "SET_KIND" if verb == "form_set" else "PAIR_NEEDS_BOTH_HANDS"
    if verb == "release":
        return "" if any(one is not facts.evidence for one in facts.holds) else "NO_SUCH_HOLD"
    if verb == "free_evidence":
        return "" if facts.evidence else "NOT_KEPT"
    return transitions.refusal(_CHANGES.get(verb, verb), facts, verdict="good") or ""


def act(request: HttpRequest, item_no: str, verb: str) -> HttpResponse:
    """The page of one act on one item: what it is now, what will happen, and the few fields that are needed."""
    chosen, person = VERBS.get(verb), cast(User, request.user)
    seen = queries.seen(item_no, queries.question())
    if chosen is None or seen.item is None or seen.facts is None:
        raise Http404(_("There is no item %s in the book.") % item_no)
    _check_role(verb, item_no, person)
    rules = queries.rules_today()
    setting = Setting(seen, person, seen.answer.as_of, rules.pack, request.GET.get("find", "")[:100])
    if request.method == "POST":
        return _sent(request, verb, chosen, setting)
    barred = closed(verb, seen.facts)
    form = None if barred else chosen.form(setting=setting, initial={"id": uuid4()})
    return _page(request, chosen, setting, form, barred=str(WORDS[barred]) if barred else "")


def _check_role(verb: str, item_no: str, person: User) -> None:
    """A role that may not do this is told so, and that it tried is kept."""
    try:
        with keeping_refusals(verb, item_no, Act(person)):
            permissions.check_can(person, _RIGHTS.get(verb, verb))
    except NotAllowed as error:
        raise PermissionDenied(str(error)) from None


def _sent(request: HttpRequest, verb: str, chosen: Verb, setting: Setting) -> HttpResponse:
    form = chosen.form(request.POST, setting=setting)
    if not form.is_valid():
        return _page(request, chosen, setting, form, status=422)
    item_no, person = setting.item.item_no, setting.by
    doing = Act(person, occurred_on=form.happened_on, id=form.cleaned_data["id"])

    def work() -> dict[str, Any]:
        chosen.do(form, doing)
        return {"item": item_no}

    try:
        body = {"item": item_no, **sent_values(request, form)}
        _answer, is_new = once(doing.id, act=verb, body=body, by=person, work=work)
    except REFUSALS as error:
        return _page(request, chosen, setting, form, status=refused_in(form, error))
    _tell(request, verb, item_no, is_new=is_new)
    return redirect("item", item_no)


def _tell(request: HttpRequest, verb: str, item_no: str, *, is_new: bool) -> None:
    """What was recorded, the answer that now holds, and what may stand in for what was taken out of use."""
    chosen, asked = VERBS[verb], queries.question()
    answer = queries.answer(item_no, asked)
    done = _("%(what)s: recorded.") if is_new else _("%(what)s: this was recorded before, once.")
    told = f"{done % {'what': chosen.title}} {told_in_short(answer)}"
    if chosen.stops and answer.verdict == "good":
        told += " " + _(
            "It is still good: what you entered lies before its last accepted test. Was the day right?"
        )
        messages.warning(request, told)
        return
    if verb in TAKES_OUT and answer.verdict != "good":
        told = f"{told} {nearest_in_words(item_no, asked)}".strip()
    messages.success(request, told)


def told_in_short(answer: Answer) -> str:
    """`G-01234: STOP. DO NOT USE. On hold since ...`: the verdict and the worst reason."""
    words = f"{answer.item_no}: {wording.verdict(answer)}."
    return f"{words} {wording.sentence(answer.reasons[0])}" if answer.reasons else words


def shown_now(seen: Seen) -> dict[str, Any]:
    """An item and its answer for the head of a page on which something is done to it."""
    identity = seen.facts.identity if seen.facts else {}
    return {
        "item_no": seen.answer.item_no,
        "heading": described.heading(identity),
        "serial": identity.get("serial") or "",
        "verdict": seen.answer.verdict,
        "words": wording.verdict(seen.answer),
        "reasons": [wording.sentence(reason) for reason in said_once(seen.answer.reasons)],
    }


def _page(
    request: HttpRequest,
    chosen: Verb,
    setting: Setting,
    form: ActForm | None,
    *,
    barred: str = "",
    status: int = 200,
) -> HttpResponse:
    holders = len(form.holders) if isinstance(form, HandOverForm) else 0
    page = {
        "title": f"{chosen.title}: {setting.item.item_no}",
        "verb": chosen,
        "now": shown_now(setting.seen),
        "form": form,
        "barred": barred,
        "narrow": setting.narrow,
        "may_narrow": isinstance(form, HandOverForm) and (holders > LONG_LIST or bool(setting.narrow)),
        "has_drawing": form is not None and "parts" in form.fields,
        "shelves_only": isinstance(form, HandOverForm) and setting.seen.answer.verdict != "good",
    }
    return render(request, "gear/act.html", page, status=status)
