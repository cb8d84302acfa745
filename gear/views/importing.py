"""Pages that bring in files: upload, look at every line's fate, then store all of it or nothing.

Between the two steps the file stays on the server; what comes back from the browser is its hash and nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.core.files.uploadhandler import FileUploadHandler, StopUpload, TemporaryFileUploadHandler
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.csrf import csrf_exempt, csrf_protect

from gear import wording
from gear.actions import gearbook, uploads
from gear.actions.acting import Act
from gear.actions.committing import BY_PAGE
from gear.actions.uploads import Upload
from gear.queries.imports import files_brought_in
from gear.rules import gearbook as gear_columns
from gear.rules.entries import CONDITIONS, HOLDER_KINDS
from gear.rules.fates import Fate, Report
from gear.rules.readiness import KINDS
from gear.rules.tables import FileRefused, Problem

LINES_A_PAGE = 200
MEGABYTES = BY_PAGE.bytes // (1024 * 1024)
CREATED = {
    "depots": gettext_lazy("Depots"),
    "crews": gettext_lazy("Crews"),
    "holders": gettext_lazy("Holders"),
    "sets": gettext_lazy("Sets"),
}
FATES = {"new": gettext_lazy("new"), "known": gettext_lazy("known"), "refused": gettext_lazy("refused")}
OUTCOMES = {
    "accepted": gettext_lazy("accepted"),
    "failed": gettext_lazy("failed"),
    "void": gettext_lazy("void"),
    "unjudged": gettext_lazy("not judged"),
}
View = Callable[[HttpRequest], HttpResponseBase]


@dataclass(frozen=True)
class Book:
    """One kind of file and what brings it in."""

    route: str
    title: str | Promise
    lead: str | Promise
    columns: Sequence[str]
    required: Sequence[str]
    words: Mapping[str, str]
    dry_run: Callable[..., Report]
    commit: Callable[..., Report]
    sentence: Callable[[Problem], str]


GEAR = Book(
    "import_gear",
    gettext_lazy("Import a gear book"),
    gettext_lazy(
        "One line for each piece: what it is, where it is, and when it came. A file adds and never changes."
    ),
    gear_columns.COLUMNS,
    gear_columns.REQUIRED,
    {
        "kind": ", ".join(KINDS),
        "class": "00, 0, 1, 2, 3, 4; rigid_cover 2, 3, 4, 5, 6",
        "hand": "L, R",
        "type": "I, II",
        "length_mm": "mm",
        "rated_kv": "kV",
        "cable_length_m": "m",
        "cable_size": ", ".join(gear_columns.CABLE_SIZES),
        "clamp_grade": ", ".join(gear_columns.GRADES),
        "ferrule_grade": ", ".join(gear_columns.GRADES),
        "holder_kind": ", ".join(HOLDER_KINDS),
        "condition": ", ".join(CONDITIONS),
    },
    gearbook.dry_run,
    gearbook.commit,
    wording.line_problem,
)


class LimitedUpload(FileUploadHandler):
    """Ends an upload as soon as it is larger than a page takes, before it fills the disk."""

    def __init__(self, request: HttpRequest) -> None:
        super().__init__(request)
        self.received = 0

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes:
        self.received += len(raw_data)
        if self.received > BY_PAGE.bytes:
            raise StopUpload(connection_reset=True)
        return raw_data

    def file_complete(self, file_size: int) -> None:
        """The next handler has the file."""


def imports(request: HttpRequest) -> HttpResponse:
    """The way to both books, and what was brought in before."""
    return render(request, "gear/import.html", {"files": files_brought_in()})


def book_page(book: Book) -> View:
    """The page of one kind of file."""

    @csrf_protect
    def checked(request: HttpRequest) -> HttpResponseBase:
        if request.method != "POST":
            return _shown(request, book)
        return _commit(request, book) if "commit" in request.POST else _upload(request, book)

    def page(request: HttpRequest) -> HttpResponseBase:
        # The limit must stand before the body is read, and checking the token reads it: hence the check inside.
        request.upload_handlers = [LimitedUpload(request), TemporaryFileUploadHandler(request)]
        return checked(request)

    return csrf_exempt(page)


import_gear = book_page(GEAR)


def _act(request: HttpRequest) -> Act:
    return Act(request.user, via="import")  # type: ignore[arg-type]  # the gate lets nobody else in


def _upload(request: HttpRequest, book: Book) -> HttpResponse:
    limited = request.upload_handlers[0]
    file = request.FILES.get("file")
    if isinstance(limited, LimitedUpload) and limited.received > BY_PAGE.bytes:
        return _asking(request, book, _("The file is larger than %s MB. Split it.") % MEGABYTES, status=413)
    if file is None or isinstance(file, list):
        return _asking(request, book, _("Choose a file first."), status=422)
    key = uploads.keep(request.user, file.name or "", file.read())  # type: ignore[arg-type]
    return redirect(f"{reverse(book.route)}?file={key}")


def _shown(request: HttpRequest, book: Book) -> HttpResponse:
    key = request.GET.get("file")
    if key is None:
        return _asking(request, book)
    found = uploads.find(request.user, key)  # type: ignore[arg-type]
    if found is None:
        return _asking(request, book, _("This file is no longer here. Upload it again."), status=404)
    try:
        report = book.dry_run(found.name, found.data, act=_act(request), limits=BY_PAGE)
    except FileRefused as error:
        return _asking(request, book, f"{found.name}: {wording.file_refused(error)}", status=422)
    return _previewed(request, book, found, report)


def _commit(request: HttpRequest, book: Book) -> HttpResponse:
    found = uploads.find(request.user, request.POST["commit"])  # type: ignore[arg-type]
    if found is None:
        return _asking(request, book, _("This file is no longer here. Upload it again."), status=404)
    try:
        report = book.commit(found.name, found.data, act=_act(request), limits=BY_PAGE)
    except FileRefused as error:
        return _asking(request, book, f"{found.name}: {wording.file_refused(error)}", status=422)
    if report.refused:
        messages.error(request, _("The book changed since the preview. Nothing was stored; look again."))
        return _previewed(request, book, found, report, status=409)
    uploads.forget(request.user, found.key)  # type: ignore[arg-type]
    new = report.totals["new"]
    stored = ngettext("%(name)s: %(count)s new line stored.", "%(name)s: %(count)s new lines stored.", new)
    messages.success(request, stored % {"name": found.name, "count": new})
    return redirect("import")


def _asking(request: HttpRequest, book: Book, problem: str = "", *, status: int = 200) -> HttpResponse:
    told = {
        "book": book,
        "problem": problem,
        "megabytes": MEGABYTES,
        "rows": BY_PAGE.rows,
        "columns": [(name, book.words.get(name, ""), name in book.required) for name in book.columns],
    }
    return render(request, "gear/import_book.html", told, status=status)


def _previewed(
    request: HttpRequest, book: Book, found: Upload, report: Report, *, status: int = 200
) -> HttpResponse:
    pages = Paginator(report.worst_first, LINES_A_PAGE)
    page = pages.get_page(request.GET.get("page"))
    told = {
        "book": book,
        "file": found,
        "report": report,
        "totals": report.totals,
        "outcomes": [(OUTCOMES[word], count) for word, count in sorted(report.outcomes.items())],
        "creates": [(CREATED[what], names) for what, names in report.creates.items() if names],
        "page": page,
        "lines": [_line(fate, book) for fate in page.object_list],
    }
    return render(request, "gear/import_preview.html", told, status=status)


def _line(fate: Fate, book: Book) -> dict[str, Any]:
    return {
        "fate": fate,
        "word": FATES[fate.word],
        "outcome": OUTCOMES.get(fate.outcome, ""),
        "subject": wording.visible(fate.subject),
        "said": [book.sentence(problem) for problem in (*fate.problems, *fate.notes)],
    }
