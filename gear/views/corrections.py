"""Correct a wrong entry: say what it should have said, see what that does to the answer, then confirm."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any, cast
from uuid import UUID, uuid4

from django.contrib import messages
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from gear import queries, wording
from gear.actions import corrections
from gear.actions.acting import REFUSALS, WORDS, Act
from gear.actions.corrections import Preview
from gear.actions.submissions import once
from gear.forms.corrections import Corrected, CorrectionForm, ReceivedForm, WithdrawForm, form_for
from gear.models import KIND_NAMES, Entry, User
from gear.queries import Seen, entry_words
from gear.rules.readiness import Answer
from gear.views.acts import shown_now, told_in_short
from gear.views.addresses import address_of
from gear.views.sending import refused_in, sent_values


def correct(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The form for one entry; what is sent is shown first, and recorded when it is confirmed."""
    entry = get_object_or_404(Entry.objects.select_related("item", "by"), pk=pk)
    if entry.item is None:
        raise Http404(_("An entry of this kind cannot be corrected here."))
    seen = queries.seen(entry.item.item_no, queries.question())
    form_class = form_for(entry)
    if barred := bar(seen, has_form=form_class is not None):
        return correction_page(request, entry, seen, None, barred=barred)
    assert form_class is not None
    corrected = Corrected(entry, corrections.standing(entry), _kind(request, entry), seen.answer.as_of)
    if corrected.counts is None and form_class is WithdrawForm:
        told = _("This test was withdrawn. It counts again only when its readings are judged again.")
        return correction_page(request, entry, seen, None, barred=told)
    if request.method != "POST":
        return correction_page(request, entry, seen, form_class(corrected=corrected, initial={"id": uuid4()}))
    form = form_class(request.POST, corrected=corrected)
    if not form.is_valid():
        return correction_page(request, entry, seen, form, status=422)
    try:
        new = None if form.withdraws else _replacement(entry, form)
    except REFUSALS as error:
        return correction_page(request, entry, seen, form, status=refused_in(form, error))

    def work(act: Act) -> None:
        corrections.correct(entry, new=new, reason=form.cleaned_data["why"], act=act)

    def again(status: int) -> HttpResponse:
        return correction_page(request, entry, seen, form, status=status)

    return shown_or_recorded(request, entry, form, new=new, work=work, again=again)


def _kind(request: HttpRequest, entry: Entry) -> str | None:
    """The kind of gear that the form is for: the one chosen, else the one on record."""
    chosen = request.POST.get("kind") or request.GET.get("kind")
    if entry.kind == "received" and chosen in KIND_NAMES:
        return chosen
    stated = corrections.standing(entry)
    identity = (stated.facts if stated else entry.facts).get("identity", {})
    if entry.kind == "received":
        return identity.get("kind")
    assert entry.item is not None
    return entry.item.item_type.kind


def _replacement(entry: Entry, form: CorrectionForm) -> dict[str, Any]:
    return corrections.replacement(entry, facts=form.stated(), occurred_on=form.cleaned_data["happened_on"])


def bar(seen: Seen, *, has_form: bool) -> str:
    """Why nothing of this item or entry can be corrected; empty when it can."""
    if not has_form:
        return str(WORDS["NOT_CORRECTABLE"])
    if seen.facts is not None and seen.facts.destroyed:
        return str(WORDS["DESTROYED_IS_FINAL"])
    return ""


def shown_or_recorded(
    request: HttpRequest,
    entry: Entry,
    form: Form,
    *,
    new: Mapping | None,
    work: Callable[[Act], object],
    again: Callable[[int], HttpResponse],
) -> HttpResponse:
    """The preview of a correction; once it is confirmed, do `work` and go to the item.

    `again` shows the form with what was refused. The page of another app that corrects its own kind of entry ends
    here too.
    """
    person = cast(User, request.user)
    if "confirm" not in request.POST:
        if corrections.changes_nothing(entry, new):
            form.add_error(None, str(WORDS["NOTHING_CHANGES"]))
            return again(422)
        return _preview_page(request, entry, form, new=new)
    assert entry.item is not None
    act, item_no = Act(person, id=form.cleaned_data["id"]), entry.item.item_no

    def done() -> dict[str, Any]:
        work(act)
        return {"item": item_no}

    try:
        body = {"entry": str(entry.pk), **sent_values(request, form)}
        once(act.id, act="correct", body=body, by=person, work=done)
    except REFUSALS as error:
        return again(refused_in(form, error))
    answer = queries.answer(item_no, queries.question())
    messages.success(request, f"{_('The correction is recorded.')} {told_in_short(answer)}")
    return redirect("item", item_no)


def _preview_page(request: HttpRequest, entry: Entry, form: Form, *, new: Mapping | None) -> HttpResponse:
    shown: Preview = corrections.preview(entry, new)
    page = {
        "title": _("Look at the correction"),
        "entry": entry,
        "item_no": shown.before.item_no,
        "form": form,
        "what": entry_words.title(entry.kind),
        "new_says": entry_words.says(new["kind"], new["facts"]) if new else [],
        "withdrawn": new is None,
        "day": wording.day(date.fromisoformat(new["occurred_on"])) if new else "",
        "sides": [(_("Now"), _side(shown.before)), (_("Corrected"), _side(shown.after))],
        "improves": shown.improves,
        "needs_another": corrections.needs_another(entry, shown, cast(User, request.user)),
        "author": entry.by.name if entry.by else _("a file or the system"),
        "again": request.path,
    }
    return render(request, "gear/correction_preview.html", page)


def _side(answer: Answer) -> dict[str, Any]:
    return {
        "verdict": answer.verdict,
        "words": wording.verdict(answer),
        "reasons": [wording.sentence(reason) for reason in answer.reasons],
        "good_through": wording.day(answer.good_through) if answer.good_through else "",
    }


def correction_page(
    request: HttpRequest, entry: Entry, seen: Seen, form: Form | None, *, barred: str = "", status: int = 200
) -> HttpResponse:
    """The entry as it is, and the form for what it should have been."""
    counts = corrections.standing(entry) if entry.kind != "corrected" else None
    facts = counts.facts if counts else entry.facts
    page = {
        "title": _("Correct an entry"),
        "entry": entry,
        "now": shown_now(seen),
        "what": entry_words.title(entry.kind),
        "says": entry_words.says(entry.kind, facts),
        "when": wording.day(counts.occurred_on if counts else entry.occurred_on),
        "author": entry.by.name if entry.by else _("a file or the system"),
        "is_corrected": entry.entry_set.exists(),
        "is_withdrawn": entry.kind != "corrected" and counts is None,
        "form": form,
        "barred": barred,
        "test_address": _test_address(entry, seen),
        "kinds": _kinds(entry, form) if isinstance(form, ReceivedForm) else [],
    }
    return render(request, "gear/correct.html", page, status=status)


def _test_address(entry: Entry, seen: Seen) -> str:
    """Where the readings of a test are corrected; nothing where none are on record or nothing can be corrected."""
    if entry.kind != "tested" or not entry.facts.get("readings") or bar(seen, has_form=True):
        return ""
    return address_of("correct_test", entry.pk)


def _kinds(entry: Entry, form: ReceivedForm) -> list[tuple[Any, str]]:
    """Ways to the same form for another kind of gear."""
    address = reverse("correct", args=[entry.pk])
    return [
        (word, f"{address}?kind={kind}") for kind, word in KIND_NAMES.items() if kind != form.corrected.kind
    ]
