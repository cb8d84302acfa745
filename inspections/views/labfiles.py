"""Lab result files: read one through its mapping, look at every line's fate, then store all of it or nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from typing import Any

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.core.files.uploadhandler import TemporaryFileUploadHandler
from django.core.paginator import Paginator
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.csrf import csrf_exempt, csrf_protect

from gear import permissions, wording
from gear.actions import uploads
from gear.actions.acting import Act
from gear.actions.committing import BY_PAGE
from gear.actions.uploads import Upload
from gear.rules.fates import Fate
from gear.rules.tables import FileRefused
from gear.views.importing import LINES_A_PAGE, OUTCOMES, LimitedUpload
from inspections import queries
from inspections import wording as words
from inspections.actions import labfiles
from inspections.actions.labfiles import Seen
from inspections.forms.labfiles import FileForm, SampleForm
from inspections.models import LabMapping, Shipment

# What is said of a line in a word or two, the worst first; a line may bear several.
TAGS = {
    "UNKNOWN_ITEM": gettext_lazy("not ours"),
    "CLASS_DIFFERS": gettext_lazy("class differs"),
    "SERIAL_DIFFERS": gettext_lazy("serial differs"),
    "LENGTH_DIFFERS": gettext_lazy("length differs"),
    "CABLE_LENGTH_DIFFERS": gettext_lazy("length differs"),
    "UNIT_HIGH": gettext_lazy("unit?"),
    "UNIT_LOW": gettext_lazy("unit?"),
    "UNIT_NOTE": gettext_lazy("unit?"),
    "REPEATED": gettext_lazy("duplicate"),
    "OTHER_TEST": gettext_lazy("says something else"),
    "LAB_DIFFERS": gettext_lazy("verdict differs from ours"),
    "OLDER_THAN_LAST": gettext_lazy("older than the last test"),
    "NOT_IN_SHIPMENT": gettext_lazy("not in the shipment"),
}
WORDS = {
    "new": gettext_lazy("matched"),
    "known": gettext_lazy("duplicate"),
    "refused": gettext_lazy("refused"),
}


def limited(checked: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """A view whose uploads end as soon as they are larger than a page takes."""

    def page(request: HttpRequest) -> HttpResponseBase:
        # The limit must stand before the body is read, and checking the token reads it: hence the check inside.
        request.upload_handlers = [LimitedUpload(request), TemporaryFileUploadHandler(request)]
        return csrf_protect(checked)(request)

    return csrf_exempt(page)


def _lab_files(request: HttpRequest) -> HttpResponse:
    """Mappings, files brought in, and the two uploads: a file to read, or a sample for a mapping."""
    if request.method != "POST":
        return _page(request, {"shipment": request.GET.get("shipment", "")})
    chosen = "sample" if request.POST.get("do") == "sample" else "reading"
    form: Form = (SampleForm if chosen == "sample" else FileForm)(request.POST, request.FILES)
    handler = request.upload_handlers[0]
    if isinstance(handler, LimitedUpload) and handler.received > BY_PAGE.bytes:
        messages.error(
            request, _("The file is larger than %s MB. Split it.") % (BY_PAGE.bytes // 1024 // 1024)
        )
        return _page(request, {}, status=413)
    if not form.is_valid():
        return _page(request, {}, status=422, **{chosen: form})
    said = form.cleaned_data
    if chosen == "sample":
        first = said["start_from"].pk if said["start_from"] else ""
        query = {"file": _kept(request, said["sample"]), "separator": said["separator"], "from": first}
        return redirect(f"{reverse('lab_mapping_new')}?{urlencode(query)}")
    number = said["shipment"].number if said["shipment"] else ""
    query = {"file": _kept(request, said["file"]), "mapping": said["mapping"].pk, "shipment": number}
    return redirect(f"{reverse('lab_file')}?{urlencode(query)}")


lab_files = limited(_lab_files)


def _kept(request: HttpRequest, file: UploadedFile) -> str:
    return uploads.keep(request.user, file.name or "", file.read())  # type: ignore[arg-type]


def _page(request: HttpRequest, first: dict[str, Any], *, status: int = 200, **forms: Form) -> HttpResponse:
    may = permissions.can(request.user, "import_files")  # type: ignore[arg-type]
    page = {
        "title": _("Lab result files"),
        "mappings": queries.mappings(),
        "files": queries.lab_files(),
        "may": may,
        "reading": FileForm(initial=first),
        "sample": SampleForm(initial={"separator": "comma"}),
        **forms,
    }
    return render(request, "inspections/lab_files.html", page, status=status)


def lab_file(request: HttpRequest) -> HttpResponse:
    """What becomes of every line of a file that was uploaded; with POST, the file is stored."""
    asked = request.POST if request.method == "POST" else request.GET
    found = uploads.find(request.user, asked.get("file", ""))  # type: ignore[arg-type]
    mapping = _mapping(asked.get("mapping", ""))
    number = asked.get("shipment", "")
    shipment = Shipment.objects.filter(number=number).first() if number else None
    if found is None or mapping is None or (number and shipment is None):
        messages.error(request, _("This file is no longer here. Upload it again."))
        return _page(request, {}, status=404)
    work = labfiles.commit if request.method == "POST" else labfiles.dry_run
    act = Act(request.user, via="import")  # type: ignore[arg-type]
    try:
        seen = work(found.name, found.data, mapping=mapping, shipment=shipment, act=act, limits=BY_PAGE)
    except FileRefused as error:
        messages.error(request, f"{found.name}: {_refused(error)}")
        return _page(request, {"mapping": mapping.pk, "shipment": number}, status=422)
    if seen.report.committed:
        return _stored(request, found, seen, shipment)
    if request.method == "POST":
        messages.error(request, _("The book changed since the preview. Nothing was stored; look again."))
    return _previewed(
        request, found, mapping, shipment, seen, status=409 if request.method == "POST" else 200
    )


def _mapping(key: str) -> LabMapping | None:
    return LabMapping.objects.select_related("lab").filter(pk=int(key)).first() if key.isdecimal() else None


def _refused(error: FileRefused) -> str:
    said = wording.file_refused(error)
    if error.code in ("UNKNOWN_COLUMNS", "MISSING_COLUMNS", "DELIMITER"):
        said += " " + _("The lab changed its file: make the next version of the mapping from it.")
    return said


def _stored(request: HttpRequest, found: Upload, seen: Seen, shipment: Shipment | None) -> HttpResponse:
    uploads.forget(request.user, found.key)  # type: ignore[arg-type]
    new = seen.report.totals["new"]
    said = ngettext("%(name)s: %(count)s new test stored.", "%(name)s: %(count)s new tests stored.", new)
    messages.success(request, said % {"name": found.name, "count": new})
    return redirect("shipment", shipment.number) if shipment else redirect("lab_files")


def _previewed(
    request: HttpRequest,
    found: Upload,
    mapping: LabMapping,
    shipment: Shipment | None,
    seen: Seen,
    *,
    status: int,
) -> HttpResponse:
    report = seen.report
    page = Paginator(report.worst_first, LINES_A_PAGE).get_page(request.GET.get("page"))
    tags = Counter(str(tag) for fate in report.fates for tag in _tags(fate))
    told = {
        "title": found.name,
        "file": found,
        "mapping": mapping,
        "shipment": shipment,
        "seen": seen,
        "report": report,
        "totals": report.totals,
        "tags": sorted(tags.items(), key=lambda pair: (-pair[1], pair[0])),
        "outcomes": [(OUTCOMES[word], count) for word, count in sorted(report.outcomes.items())],
        "page": page,
        "lines": [_line(fate) for fate in page.object_list],
        "query": urlencode(
            {"file": found.key, "mapping": mapping.pk, "shipment": shipment.number if shipment else ""}
        ),
    }
    return render(request, "inspections/lab_file.html", told, status=status)


def _tags(fate: Fate) -> list[Any]:
    codes: Iterable[str] = (one.code for one in (*fate.problems, *fate.notes))
    found = [TAGS[code] for code in codes if code in TAGS]
    if fate.word != "new" or not found:
        plain = WORDS[fate.word]
        found = [plain, *found] if fate.word != "refused" or not found else found
    return list({str(one): one for one in found}.values())


def _line(fate: Fate) -> dict[str, Any]:
    return {
        "fate": fate,
        "tags": _tags(fate),
        "outcome": OUTCOMES.get(fate.outcome, ""),
        "subject": wording.visible(fate.subject),
        "said": [words.line_problem(one) for one in (*fate.problems, *fate.notes)],
    }
