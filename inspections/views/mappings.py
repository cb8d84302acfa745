"""The mapping of a lab's file: every column of a sample beside the choice of what it is."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from gear import wording
from gear.actions import uploads
from gear.actions.acting import REFUSALS, Act
from gear.actions.committing import BY_PAGE
from gear.rules import tables
from gear.rules.tables import FileRefused
from gear.views.moments import moment
from inspections import queries
from inspections.actions import labfiles
from inspections.actions.labfiles import MappingRefused
from inspections.forms.labfiles import TARGET_NAMES, UNIT_NAMES, MappingForm
from inspections.models import PURPOSE_NAMES, SUPPLY_NAMES, LabMapping
from inspections.rules import labfile

CONSTANT_WORDS = {**PURPOSE_NAMES, **SUPPLY_NAMES}


def new(request: HttpRequest) -> HttpResponse:
    """The columns of an uploaded sample with the choices beside them; kept as the next version of its name."""
    asked = request.POST if request.method == "POST" else request.GET
    found = uploads.find(request.user, asked.get("file", ""))  # type: ignore[arg-type]
    separator = asked.get("separator", "comma")
    if found is None or separator not in labfile.SEPARATORS:
        messages.error(request, _("This file is no longer here. Upload it again."))
        return redirect("lab_files")
    try:
        header, rows = tables.sample(
            found.name, found.data, most_bytes=BY_PAGE.bytes, delimiter=labfile.SEPARATORS[separator]
        )
    except FileRefused as error:
        messages.error(request, f"{found.name}: {wording.file_refused(error)}")
        return redirect("lab_files")
    told = {"title": _("What the columns are"), "file": found, "separator": separator}
    if request.method != "POST":
        first = (
            LabMapping.objects.filter(pk=int(asked["from"])).first()
            if asked.get("from", "").isdecimal()
            else None
        )
        initial = MappingForm.filled(first, header) if first else {"decimal": "point"}
        form = MappingForm(header=header, rows=rows, initial=initial)
        return render(request, "inspections/lab_mapping_new.html", {**told, "form": form})
    form = MappingForm(request.POST, header=header, rows=rows)
    kept = _kept(request, form, separator) if form.is_valid() else None
    if kept is None:
        return render(request, "inspections/lab_mapping_new.html", {**told, "form": form}, status=422)
    uploads.forget(request.user, found.key)  # type: ignore[arg-type]
    messages.success(request, _("%s is kept. Files are read through it from now on.") % kept)
    return redirect("lab_mapping", kept.pk)


def _kept(request: HttpRequest, form: MappingForm, separator: str) -> LabMapping | None:
    said = form.cleaned_data
    try:
        return labfiles.keep_mapping(
            said["name"],
            lab=said["lab"],
            columns=form.stated(separator),
            act=Act(request.user),  # type: ignore[arg-type]
        )
    except MappingRefused as error:
        form.add_faults(error.problems)
    except REFUSALS as error:
        form.add_error(None, str(error))
    return None


def shown(request: HttpRequest, pk: int) -> HttpResponse:
    """One version of a mapping as it reads files, and its other versions."""
    mapping = get_object_or_404(LabMapping.objects.select_related("lab", "made_by"), pk=pk)
    columns = labfile.from_json(mapping.content)
    told = {
        "title": _("Mapping %s") % mapping,
        "mapping": mapping,
        "made_at": moment(mapping.made_at),
        "columns": [
            {
                "name": name,
                "to": TARGET_NAMES.get(one.to, _("not needed")),
                "unit": UNIT_NAMES.get(one.unit, one.unit),
                "words": list(one.words.items()),
            }
            for name, one in columns.columns.items()
        ],
        "constants": [
            (TARGET_NAMES[name], CONSTANT_WORDS.get(value, value))
            for name, value in columns.constants.items()
            if value
        ],
        "read": columns,
        "versions": [one for one in queries.versions(mapping.name) if one.pk != mapping.pk],
    }
    return render(request, "inspections/lab_mapping.html", told)
