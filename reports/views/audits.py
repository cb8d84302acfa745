"""Audit samples: drawn and worked out by looking alone, the sheet to go round with, and what was found."""

from __future__ import annotations

import logging
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

from django.conf import settings
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from gear import permissions, wording
from gear.models import CONDITION_NAMES
from gear.pdf import NotSet
from gear.queries import described
from gear.spreadsheets import Cell, inert_lines
from gear.views.whereabouts import file_answer, holder_word, paper_of
from reports.forms.sampling import MOST, STRATA_NAMES, DrawForm, found_in
from reports.pdf.sampling import sheet_pdf
from reports.queries.sampling import Expected, Population, choices, expected, population
from reports.rules import sampling
from reports.rules.sampling import Drawn
from reports.wording import sampling as words

log = logging.getLogger(__name__)
ASKED = ("start", "depot", "kind", "strata", "percent", "confidence", "size", "at")
COLUMNS = (
    "start_number", "as_of", "part", "item_no", "sha256", "what", "serial", "holder", "crew", "depot", "condition",
    "good_through", "population", "drawn",
)  # fmt: skip


@dataclass(frozen=True)
class Draw:
    """A draw that was worked out: what was asked, what it was drawn from, and the pieces."""

    form: DrawForm
    found: Population
    drawn: Drawn
    bad: int

    @property
    def size(self) -> int:
        return len(self.drawn.pieces)

    @property
    def asked(self) -> dict[str, str]:
        """The values that draw the same pieces again, for an address."""
        values = {name: str(self.form.data.get(name, "")) for name in ASKED}
        return {name: value for name, value in values.items() if value}


def page(request: HttpRequest) -> HttpResponse:
    """The form, and once it is filled in the pieces, how many are enough, and what finding so many bad ones proves."""
    form = _form(request)
    if not form.is_bound:
        return _page(request, form)
    if not form.is_valid():
        return _page(request, form, status=400)
    if form.cleaned_data["at"] is None:
        # The moment becomes part of the address, so that the same address draws the same pieces for ever.
        asked: dict[str, Any] = {name: request.GET[name] for name in ASKED if request.GET.get(name)}
        asked |= {"at": timezone.localtime().isoformat(), "found": request.GET.getlist("found")}
        return redirect(f"{reverse('audit_sample')}?{urlencode(asked, doseq=True)}")
    drawn = drawn_by(form)
    return _page(request, form, drawn, status=200 if drawn else 400)


def pdf(request: HttpRequest) -> HttpResponse:
    """The sheet to go round with."""
    form, drawn = _asked(request)
    if drawn is None:
        return _page(request, form, status=400)
    try:
        content = sheet_pdf(_told(drawn), _lines(drawn), paper=paper_of(request))
    except NotSet as error:
        log.error("An audit sheet could not be set: %s", error.detail)
        return _page(request, form, drawn, problem=str(error), status=503)
    return file_answer(content, f"audit-sample-{form.cleaned_data['start']}")


def csv(request: HttpRequest) -> HttpResponseBase:
    """The drawn pieces with the text that drew each of them."""
    form, drawn = _asked(request)
    if drawn is None:
        return _page(request, form, status=400)
    name = f"{'DEMO-' if settings.DEMO else ''}audit-sample-{form.cleaned_data['start']}.csv"
    return StreamingHttpResponse(
        inert_lines(COLUMNS, _cells(drawn)),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def _form(request: HttpRequest) -> DrawForm:
    depots, kinds = choices()
    initial = {"start": str(secrets.randbelow(900_000) + 100_000), "percent": "1", "confidence": "95"}
    given = request.GET if "start" in request.GET else None
    return DrawForm(given, depots=depots, kinds=kinds, initial=initial)


def _asked(request: HttpRequest) -> tuple[DrawForm, Draw | None]:
    """The form and what it draws; None where something is missing, the moment included."""
    form = _form(request)
    if not form.is_bound or not form.is_valid():
        return form, None
    if form.cleaned_data["at"] is None:
        form.add_error("at", _("Name the moment: a sheet must be able to be drawn again."))
        return form, None
    return form, drawn_by(form)


def drawn_by(form: DrawForm) -> Draw | None:
    """What the form draws, or None with the reason beside the field."""
    asked = form.cleaned_data
    found = population(asked["at"], depot=asked["depot"], kind=asked["kind"])
    members = found.members(asked["strata"])
    if not members:
        form.add_error(None, _("There was nothing to draw from at that moment."))
        return None
    bad = sampling.bad_in(found.count, form.share)
    parts = len({one.stratum for one in members})
    size = asked["size"] or max(parts, sampling.size_to_catch_one(found.count, bad, form.sure))
    if size > MOST:
        told = {"size": size, "most": MOST}
        form.add_error(
            None,
            _("%(size)d pieces are more than the %(most)d of one sheet. Narrow what is drawn from.") % told,
        )
        return None
    if not parts <= size <= found.count:
        told = {"parts": parts, "count": found.count}
        form.add_error("size", _("Between %(parts)d (one of each part) and %(count)d can be drawn.") % told)
        return None
    return Draw(form, found, sampling.draw(members, size=size, start=asked["start"]), bad)


def _page(
    request: HttpRequest, form: DrawForm, drawn: Draw | None = None, *, problem: str = "", status: int = 200
) -> HttpResponse:
    context: dict[str, Any] = {"title": _("Random sample"), "form": form, "problem": problem}
    if drawn is not None:
        counts, sentence = found_in(request.GET.getlist("found"), [one.size for one in drawn.drawn.strata])
        may = permissions.can(request.user, "enter_audit")  # type: ignore[arg-type]
        context |= _told(drawn) | {
            "rows": _lines(drawn),
            "asked": drawn.asked.items(),
            "query": urlencode(drawn.asked),
            "parts": _parts(drawn, request.GET.getlist("found")),
            "found_problem": sentence,
            "may_keep": may,
            "new_id": uuid4(),
        }
        if counts is not None:
            sure = form.sure
            context["proves"] = words.proves(
                drawn.drawn, counts, sure, name=partial(part_word, strata=form.cleaned_data["strata"])
            )
            context["proves_not"] = words.proves_not(drawn.drawn, counts)
    return render(request, "reports/audit_sample.html", context, status=status)


def _told(drawn: Draw) -> dict[str, Any]:
    """What page and sheet say alike of a draw."""
    asked, found = drawn.form.cleaned_data, drawn.found
    narrowed = [asked["depot"], described.kind_word(asked["kind"]) if asked["kind"] else ""]
    return {
        "start": asked["start"],
        "as_of": words.moment(found.at),
        "exact": found.at.isoformat(),
        "zone": settings.TIME_ZONE,
        "population": found.count,
        "size": drawn.size,
        "source": ", ".join(part for part in narrowed if part) or _("the whole book"),
        "strata": STRATA_NAMES[asked["strata"]],
        "conditions": [
            (str(CONDITION_NAMES.get(name, name)), count) for name, count in sorted(found.conditions.items())
        ],
        "counted": words.counted(found.conditions, destroyed=found.destroyed, visitors=found.visitors),
        "why": words.size_sentence(
            population=found.count,
            bad=drawn.bad,
            size=drawn.size,
            confidence=drawn.form.sure,
            chosen=bool(asked["size"]),
        ),
        "algorithm": words.algorithm(),
    }


def _parts(drawn: Draw, typed: list[str]) -> list[dict[str, Any]]:
    strata = drawn.drawn.strata
    filled = typed if len(typed) == len(strata) else [""] * len(strata)
    return [
        {
            "name": part_word(one.name, drawn.form.cleaned_data["strata"]),
            "population": one.population,
            "size": one.size,
            "typed": value,
        }
        for one, value in zip(strata, filled, strict=True)
    ]


def part_word(name: str, strata: str) -> str:
    """A stratum in words; where it has no name, what is not on a truck, or of no known depot or kind."""
    if name:
        return described.kind_word(name) if strata == "kind" else name
    return {"truck": _("not on a truck"), "": ""}.get(strata, _("not on record"))


def _lines(drawn: Draw) -> list[dict[str, Any]]:
    strata = drawn.form.cleaned_data["strata"]
    return [line(one, part=part_word(one.stratum, strata)) for one in expected(drawn.drawn, drawn.found)]


def line(one: Expected, *, part: str) -> dict[str, Any]:
    """A drawn piece in words, as a page and a sheet show it."""
    holder = one.holder
    place = ", ".join(str(holder[name]) for name in ("crew", "depot") if holder.get(name))
    marks = ((_("Serial %s"), one.identity.get("serial")), (_("Label %s"), one.label))
    return {
        "item_no": one.item_no,
        "part": part,
        "what": described.heading(one.identity),
        "marks": ", ".join(word % value for word, value in marks if value),
        "where": holder_word(holder.get("kind") or "", holder.get("name") or ""),
        "place": place,
        "condition": "" if one.condition == "ok" else str(CONDITION_NAMES.get(one.condition, one.condition)),
        "good_through": wording.day(one.good_through) if one.good_through else "",
    }


def _cells(drawn: Draw) -> Iterator[tuple[Cell, ...]]:
    start, at = drawn.form.cleaned_data["start"], drawn.found.at.isoformat()
    for one in expected(drawn.drawn, drawn.found):
        holder = one.holder
        yield (
            start,
            at,
            one.stratum,
            one.item_no,
            sampling.score(start, one.item_no),
            described.heading(one.identity),
            one.identity.get("serial"),
            holder.get("name"),
            holder.get("crew"),
            holder.get("depot"),
            one.condition,
            one.good_through,
            drawn.found.count,
            drawn.size,
        )
