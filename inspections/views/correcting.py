"""Correct the readings of a test: the form it was logged with, judged again, shown before it is recorded."""

from __future__ import annotations

from uuid import UUID, uuid4

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _

from gear import wording
from gear.actions import corrections
from gear.actions.acting import REFUSALS, Act
from gear.models import Entry
from gear.views.corrections import bar, shown_or_recorded
from gear.views.sending import refused_in
from inspections.actions.corrections import correct_test as record_correction
from inspections.actions.corrections import judged_again
from inspections.forms.testing import TestCorrectionForm, values_stated
from inspections.views.logging import NAMES, Bench, bench_for, bench_page


def correct_test(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The form of one test as it counts now; what is sent is judged and shown, and recorded when it is confirmed."""
    entry = get_object_or_404(Entry.objects.select_related("item", "by"), pk=pk, kind="tested")
    if entry.item is None or not entry.facts.get("readings"):
        raise Http404(_("No readings of this test are on record, so there is nothing to correct here."))
    bench = bench_for(entry.item, carried={})
    assert bench.seen.facts is not None
    if barred := bar(bench.seen, has_form=True):
        return _page(request, entry, bench, _blank(entry, bench), barred=barred)
    if request.method != "POST":
        return _page(request, entry, bench, _blank(entry, bench))
    form = TestCorrectionForm(request.POST, bench=bench.on)
    if not form.is_valid():
        return _page(request, entry, bench, form, status=422)
    reading, paper = form.reading(), form.paper()

    def work(act: Act) -> None:
        record_correction(entry, reading, paper, reason=form.cleaned_data["why"], act=act)

    def again(status: int) -> HttpResponse:
        return _page(request, entry, bench, form, status=status)

    try:
        new, _judgement = judged_again(entry, reading, paper, facts=bench.seen.facts)
    except REFUSALS as error:
        return again(refused_in(form, error, names=NAMES))
    return shown_or_recorded(request, entry, form, new=new, work=work, again=again)


def _blank(entry: Entry, bench: Bench) -> TestCorrectionForm:
    counts = corrections.standing(entry)
    facts, day = (counts.facts, counts.occurred_on) if counts else (entry.facts, entry.occurred_on)
    return TestCorrectionForm(bench=bench.on, initial={**values_stated(facts, day), "id": uuid4()})


def _page(
    request: HttpRequest,
    entry: Entry,
    bench: Bench,
    form: TestCorrectionForm,
    *,
    barred: str = "",
    status: int = 200,
) -> HttpResponse:
    more = {
        "title": _("Correct a test: %s") % bench.on.item_no,
        "heading": _("Correct a test"),
        "lead": _(
            "Tested on %(day)s, entered by %(who)s. The first readings stay readable beside the correction."
        )
        % {
            "day": wording.day(entry.occurred_on),
            "who": entry.by.name if entry.by else _("a file or the system"),
        },
        "action": request.path,
        "leave": reverse("item", args=[bench.on.item_no]),
        "button": _("See what it does"),
        "may_fill": False,
        "barred": barred,
    }
    return bench_page(request, bench, form, status=status, **more)
