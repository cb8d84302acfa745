"""The year in figures: one set of tables as page, on paper and as a file."""

from __future__ import annotations

import logging
from typing import Any

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _

from gear import wording
from gear.pdf import NotSet
from gear.queries import question
from gear.spreadsheets import inert_lines
from gear.views.whereabouts import file_answer, paper_of
from reports.models import FOUND_NAMES
from reports.pdf.statistics import statistics_pdf
from reports.queries import yearly
from reports.views.particulars import ORDER
from reports.wording import statistics as words
from reports.wording.particulars import SENTENCES

log = logging.getLogger(__name__)
COLUMNS = ("table", "row", "column", "value")


def page(request: HttpRequest) -> HttpResponse:
    return render(request, "reports/statistics.html", _told(request))


def pdf(request: HttpRequest) -> HttpResponseBase:
    told = _told(request)
    try:
        content = statistics_pdf(told, paper=paper_of(request))
    except NotSet as error:
        log.error("The PDF of the year in figures could not be made: %s", error.detail)
        return render(request, "reports/statistics.html", {**told, "problem": str(error)}, status=503)
    return file_answer(content, f"year-{told['year']}")


def csv(request: HttpRequest) -> StreamingHttpResponse:
    """Every figure as it stands on the page: its table, its row and its column."""
    told = _told(request)
    cells = (
        (table.code, row[0], column, value)
        for table in told["tables"]
        for row in table.rows
        for column, value in zip(table.columns[1:], row[1:], strict=True)
    )
    name = f"{'DEMO-' if settings.DEMO else ''}year-{told['year']}.csv"
    return StreamingHttpResponse(
        inert_lines(COLUMNS, cells),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def _told(request: HttpRequest) -> dict[str, Any]:
    """Everything in words. Another year than one on record is not found."""
    asked = question()
    known, typed = yearly.years(asked.as_of), request.GET.get("year", "")
    if typed and typed not in map(str, known):
        raise Http404(_("Nothing is on record for that year."))
    found = yearly.year_in_figures(asked, int(typed) if typed else asked.as_of.year)
    span, book = found.span, found.book
    return {
        "title": _("Year in figures"),
        "year": span.first.year,
        "years": known,
        "days": _("%(first)s through %(last)s")
        % {"first": wording.day(span.first), "last": wording.day(span.last)},
        "made": f"{wording.day(asked.as_of)} {timezone.localtime(asked.asked_at):%H:%M}",
        "zone": settings.TIME_ZONE,
        "looked_at": book.looked_at,
        "unreadable": book.unreadable,
        "tables": _tables(found),
        "method": words.method(),
    }


def _tables(found: yearly.Year) -> list[words.Table]:
    book = found.book
    labs = [(one.lab, one.days, yearly.middle(one.days), one.missing) for one in found.labs]
    rounds = [(str(name), found.audits.found[code]) for code, name in FOUND_NAMES.items()]
    counts = found.lacks.counts
    lacking = [(str(SENTENCES[code][0]), counts[code]) for code in ORDER if counts[code]]
    return [
        words.exposure_table(book),
        *words.population(book),
        words.tests_table(book),
        words.causes_table(book),
        *(words.groups_table(book, sort) for sort in ("model", "lot", "age", "crew")),
        words.lives_table(book),
        words.labs_table(labs),
        words.counts_table(book, found.exceptions),
        words.audits_table(found.audits.samples, rounds),
        words.lacks_table(lacking, found.lacks.looked_at),
    ]
