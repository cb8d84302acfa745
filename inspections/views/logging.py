"""Log one electrical test: find the item, type what the meter showed, and read what follows from it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any, cast
from urllib.parse import urlencode
from uuid import UUID, uuid4

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from gear import queries, wording
from gear.actions import sightings
from gear.actions.acting import REFUSALS, WORDS, Act
from gear.actions.submissions import once
from gear.models import Item, User
from gear.queries import Seen, described, entry_words
from gear.queries.identified import meant_by
from gear.rules import transitions, units
from gear.rules.packs import RulePack
from gear.views.acts import shown_now
from gear.views.sending import refused_in, sent_values
from inspections import wording as words
from inspections.actions.testing import log_test as record_test
from inspections.forms.testing import STICKY, OnBench, TestForm, filled
from inspections.models import SUPPLY_NAMES, ElectricalTest
from inspections.queries import stated_test, tests_in_force
from inspections.rules import testfacts
from inspections.rules.bench import BenchSheet, likely_purpose, sheet

NAMES = {"applied_v": "applied_kv"}  # field of a reading: field of the form
SHAPES = {
    "accepted": "\N{BLACK CIRCLE}",
    "failed": "\N{BLACK SQUARE}",
    "void": "\N{WHITE DIAMOND}",
    "unjudged": "?",
}


def log_test(request: HttpRequest) -> HttpResponse:
    """Asks for the item first; with one, the form of its kind. What is sent is judged at once."""
    if request.method == "POST":
        return _sent(request)
    typed = request.GET.get("item", "")
    if not typed.strip():
        return _ask(request)
    meant = meant_by(typed, base_url=settings.BASE_URL)
    if meant.item is None:
        return _ask(request, typed=typed, several=meant.items, status=404 if not meant.items else 200)
    bench = bench_for(meant.item, carried=request.GET.dict())
    sightings.keep_if_scrapped(bench.seen, typed=typed, by=cast(User, request.user))
    form = TestForm(bench=bench.on, initial={"id": uuid4()})
    return _page(request, bench, form, old_label=meant.old_label)


@dataclass(frozen=True)
class Bench:
    """An item as the page shows it: seen, and on the bench with the sheet of today's rules."""

    seen: Seen
    on: OnBench
    pack: RulePack | None

    @property
    def item(self) -> Item:
        assert self.seen.item is not None
        return self.seen.item


def bench_for(item: Item, *, carried: dict[str, str]) -> Bench:
    """The item on the bench. Without a pack that can be relied upon there is no sheet."""
    seen, rules = queries.seen(item.item_no, queries.question()), queries.rules_today()
    facts = seen.facts
    identity = facts.identity if facts else {}
    found = sheet(testfacts.tested_item(identity), rules.pack) if rules.pack else BenchSheet()
    purpose = likely_purpose(facts) if facts else "first"
    kind = identity.get("kind") or ""
    return Bench(seen, OnBench(item.item_no, kind, found, seen.answer.as_of, purpose, carried), rules.pack)


def _ask(
    request: HttpRequest, *, typed: str = "", several: tuple[Item, ...] = (), status: int = 200
) -> HttpResponse:
    page = {
        "title": _("Log a test"),
        "typed": typed[:300],
        "nothing": bool(typed) and not several,
        "several": [
            {"item": item, "heading": item.item_type, "address": _address(item, request.GET.dict())}
            for item in several
        ],
        "carried": _carried(request.GET.dict()),
    }
    return render(request, "inspections/ask_item.html", page, status=status)


def _sent(request: HttpRequest) -> HttpResponse:
    item = Item.objects.filter(item_no=request.POST.get("item_no", "")).first()
    if item is None:
        return _ask(request, typed=request.POST.get("item_no", ""), status=404)
    bench = bench_for(item, carried={})
    if "fill" in request.POST:
        return _page(request, bench, _filled_again(request, bench))
    form = TestForm(request.POST, bench=bench.on)
    if not form.is_valid():
        return _page(request, bench, form, status=422)
    doing = Act(cast(User, request.user), id=form.cleaned_data["id"])
    paper = form.paper()

    def work() -> dict[str, Any]:
        row, _judgement = record_test(
            item,
            form.reading(),
            act=doing,
            lab_result=paper.lab_result,
            lab=paper.lab,
            instrument=paper.instrument,
            report_no=paper.report_no,
        )
        return {"test": str(row.pk)}

    try:
        done, _is_new = once(
            doing.id, act="log_test", body=sent_values(request, form), by=request.user, work=work
        )
    except REFUSALS as error:
        return _page(request, bench, form, status=refused_in(form, error, names=NAMES))
    return redirect("test_result", done["test"])


def _filled_again(request: HttpRequest, bench: Bench) -> TestForm:
    """The form as it was typed, with voltage and seconds of the purpose and supply that were chosen."""
    typed = {name: request.POST.get(name, "") for name in TestForm.base_fields}
    again = filled(bench.on.sheet, purpose=typed["purpose"], supply=typed["supply"])
    return TestForm(bench=bench.on, initial={**typed, **again})


def _page(
    request: HttpRequest, bench: Bench, form: TestForm, *, old_label: bool = False, status: int = 200
) -> HttpResponse:
    facts = bench.seen.facts
    refusal = transitions.refusal("log_test", facts) if facts else None
    barred = str(WORDS[refusal]) if refusal else ""
    more = {
        "title": _("Log a test: %s") % bench.on.item_no,
        "heading": _("Log a test"),
        "action": reverse("log_test"),
        "leave": reverse("log_test"),
        "button": _("Record the test"),
        "may_fill": bool(bench.on.sheet.supplies) and not barred,
        "barred": barred,
        "asks_next": True,
        "old_label": old_label,
    }
    return bench_page(request, bench, form, status=status, **more)


def bench_page(
    request: HttpRequest, bench: Bench, form: TestForm, *, status: int, **more: object
) -> HttpResponse:
    """An item on the bench with the form beside the figures of its kind."""
    facts, found = bench.seen.facts, bench.on.sheet
    page = {
        "now": shown_now(bench.seen),
        "markings": described.markings(facts.identity if facts else {}),
        "form": form,
        "figures": _figures(bench),
        "missing": [words.FIELDS[name] for name in found.missing],
        "no_figures": bench.pack is not None and not found.supplies and not found.reads,
        "no_pack": bench.pack is None,
        "fills": json.dumps(_fills(found)),
        **more,
    }
    return render(request, "inspections/log_test.html", page, status=status)


def _fills(found: BenchSheet) -> dict[str, dict[str, str]]:
    """What the page may fill in by itself when purpose or supply change: for its script, which works out nothing."""
    return {
        "applied_kv": {one: filled(found, purpose="", supply=one)["applied_kv"] for one in found.proof},
        "seconds": {one: filled(found, purpose=one, supply="")["seconds"] for one in found.seconds},
    }


def _figures(bench: Bench) -> list[dict[str, Any]]:
    """(name, value, figure) of everything that the clerk would look up, each with its source."""
    found, rows = bench.on.sheet, []
    for supply, figure in found.proof.items():
        kv = units.kv_from_volts(int(figure.value))  # type: ignore[arg-type]
        rows.append((_("Proof voltage, %s") % SUPPLY_NAMES[supply], _("%s kV") % kv, figure))
    identity = bench.seen.facts.identity if bench.seen.facts else {}
    if found.limit_ma is not None:
        of = {"cls": identity.get("class"), "length": described.length(identity.get("length_mm"))}
        name = _("Current at most, AC: class %(cls)s, %(length)s") % of
        rows.append((name, _("%s mA") % found.limit_ma.value, found.limit_ma))
    if found.limit_20_mohm is not None:
        of = {
            "size": identity.get("cable_size"),
            "length": described.cable_length(identity.get("cable_length_m")),
        }
        name = _("Resistance at most, at 20 °C: %(size)s, %(length)s") % of
        rows.append((name, _("%s milliohm") % found.limit_20_mohm, found.formula))
        rows.append((_("The cable in it, a foot at 20 °C"), _("%s milliohm") % found.r20.value, found.r20))  # type: ignore[union-attr]
    for supply, figure in found.water.items():
        name = _("Cuff to water line, %s") % SUPPLY_NAMES[supply]
        rows.append((name, described.length(figure.value), figure))
    return [{"name": name, "value": value, "figure": figure} for name, value, figure in rows]


def test_result(request: HttpRequest, pk: UUID) -> HttpResponse:
    """What was made of a test, every finding in words, what the item's answer is now; then the next item."""
    row = get_object_or_404(ElectricalTest.objects.select_related("entry", "item"), pk=pk)
    facts, _day = stated_test(row.entry) or ({}, "")
    judgement = testfacts.recorded(facts)
    seen = queries.seen(row.item.item_no, queries.question())
    page = {
        "title": f"{row.item.item_no}: {words.OUTCOMES[judgement.outcome]}",
        "row": row,
        "day": wording.day(row.tested_on),
        "shape": SHAPES[judgement.outcome],
        "outcome_words": words.OUTCOMES[judgement.outcome],
        "consequence": words.CONSEQUENCES[judgement.outcome],
        "findings": [words.finding(one) for one in judgement.codes],
        "details": judgement.details,
        "temperature": testfacts.plain(row.cable_temp_c) if row.cable_temp_c is not None else "",
        "limits": entry_words.limits(facts),
        "readings": entry_words.readings(facts),
        "lab_differs": words.lab_differs(facts),
        "uncalibrated": row.calibration == "not_on_file",
        "now": shown_now(seen),
        "dates": _dates(judgement.outcome, seen),
        "corrected": not tests_in_force().filter(pk=row.pk).exists(),
        "carried": _carried(_as_carried(row, today=seen.answer.as_of.isoformat())),
    }
    return render(request, "inspections/test_result.html", page)


def _dates(outcome: str, seen: Seen) -> str:
    """What the test did to the dates of the piece; nothing where there is no date left to speak of."""
    if outcome not in ("accepted", "void") or seen.answer.good_through is None:
        return ""
    told = {"day": wording.day(seen.answer.good_through), "clock": wording.clock(seen.answer.winning_clock)}
    if outcome == "void":
        return _("Its earlier dates stand. This piece by itself: good through %(day)s, %(clock)s.") % told
    return _("This piece by itself: good through %(day)s, %(clock)s.") % told


def _as_carried(row: ElectricalTest, *, today: str) -> dict[str, str]:
    """What the next item of the same bench day most probably shares; the day only where it is not today."""
    carried = {name: str(getattr(row, name)) for name in STICKY}
    if carried["tested_on"] == today:
        del carried["tested_on"]
    return carried


def _carried(given: dict[str, str]) -> list[tuple[str, str]]:
    return [(name, given[name][:80]) for name in STICKY if given.get(name)]


def _address(item: Item, carried: dict[str, str]) -> str:
    return f"{reverse('log_test')}?{urlencode([('item', item.item_no), *_carried(carried)])}"
