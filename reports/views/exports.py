"""The export as a page: how large it is, what it holds, and the program that checks it."""

from __future__ import annotations

import logging
import re
import tempfile
from typing import Any

from django.conf import settings
from django.http import FileResponse, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from reports.actions.exporting import PROGRAM, Asked, Busy, NotOnRecord, export
from reports.permissions import answers_for_all
from reports.queries.exports import Estimate, estimate

log = logging.getLogger(__name__)
# An export of more would keep one worker for longer than a server waits for it; the command has the time.
MOST_ENTRIES = 100_000
MOST_PIECES = 200


def page(request: HttpRequest) -> HttpResponse:
    """How large an export would be, and the way to it."""
    return _shown(request)


def download(request: HttpRequest) -> HttpResponseBase:
    """The export of everything, or of the pieces that are named; written to a file without a name that goes with it."""
    if request.method == "HEAD":  # not worth the minute that the export takes
        return HttpResponse(content_type="application/zip")
    typed = request.GET.get("item", "")[:4000]
    items = tuple(dict.fromkeys(re.split(r"[\s,;]+", typed.strip()))) if typed.strip() else ()
    if "item" in request.GET and not items:
        return _shown(request, problem=_("Give the number of a piece."), status=400)
    if len(items) > MOST_PIECES:
        many = (
            ngettext("Give at most %s piece.", "Give at most %s pieces at once.", MOST_PIECES) % MOST_PIECES
        )
        return _shown(request, typed=typed, problem=many, status=400)
    if not answers_for_all(request.user):
        return _shown(request, typed=typed, problem=_of_one_depot(), status=403)
    if not items and estimate().entries > MOST_ENTRIES:
        return _shown(request, problem=_too_many(), status=400)
    target = tempfile.TemporaryFile(dir=settings.DATA_DIR)  # noqa: SIM115 - the answer closes it
    try:
        made = export(target, Asked(items=items))
    except Busy as error:
        target.close()
        return _shown(request, typed=typed, problem=str(error), status=503)
    except NotOnRecord as error:
        target.close()
        return _shown(request, typed=typed, problem=str(error), status=404)
    except BaseException:
        target.close()
        raise
    log.info("%s downloaded an export, manifest %s", request.user.get_username(), made.manifest)
    size = target.tell()
    target.seek(0)
    what = (
        "-".join(re.sub(r"[^A-Za-z0-9]+", "-", one) for one in items)[:60] or timezone.localdate().isoformat()
    )
    name = f"{'DEMO-' if settings.DEMO else ''}gear-record-{what}.zip"
    answer = FileResponse(target, as_attachment=True, filename=name, content_type="application/zip")
    answer["Content-Length"] = str(size)
    return answer


def program(request: HttpRequest) -> HttpResponse:
    """The program that checks an export, to be kept and read by whoever uses it."""
    headers = {"Content-Disposition": f'attachment; filename="{PROGRAM.name}"'}
    return HttpResponse(PROGRAM.read_bytes(), content_type="text/x-python; charset=utf-8", headers=headers)


def _of_one_depot() -> str:
    return _(
        "An export holds what is on file of every depot, and you answer for one. Ask an administrator for it."
    )


def _too_many() -> str:
    return _(
        "This record is too large for a download. Have the administrator run manage.py export_records FILE.zip."
    )


def _shown(request: HttpRequest, *, typed: str = "", problem: str = "", status: int = 200) -> HttpResponse:
    found = estimate()
    context: dict[str, Any] = {
        "title": _("Export"),
        "found": found,
        "size": _about(found),
        "typed": typed,
        "problem": problem,
        "too_many": _too_many() if found.entries > MOST_ENTRIES else "",
    }
    return render(request, "reports/exports.html", context, status=status)


def _about(found: Estimate) -> str:
    megabytes = max(1, round(found.size / 1_000_000))
    return ngettext("about %s megabyte", "about %s megabytes", megabytes) % megabytes
