"""Forms of a visit: starting it, what holds for all its rows, one row by keyboard, a paste, and what was found."""

from __future__ import annotations

from typing import Any
from uuid import UUID, uuid4

from django import forms
from django.utils.translation import gettext_lazy as _

from gear.forms.strict import day_field, text_field
from gear.models import KIND_NAMES
from inspections.forms.shipping import SentOnce
from inspections.models import LOOK_NAMES, Visit, VisitRow
from inspections.rules import visiting

LABELS = {
    "person": _("Person"),
    "size": _("Size"),
    "number": _("Number on it (left)"),
    "number_right": _("Number on the right, if another"),
    "leakage_ma": _("Current (left), mA"),
    "leakage_ma_right": _("Current of the right, mA"),
    "hand": _("One hand only: L or R"),
    "kind": _("Kind"),
    "class": _("Class"),
    "length_mm": _("Length, mm"),
    "type": _("Type: I or II"),
    "maker": _("Maker"),
    "tested_on": _("Tested on"),
    "supply": _("Supply: ac or dc"),
    "applied_v": _("Test voltage, V"),
    "seconds": _("Seconds"),
    "lab": _("Lab"),
    "report_no": _("Report number"),
    "lab_result": _("The lab says: accept or reject"),
    "cable_size": _("Cable size"),
    "cable_length_m": _("Cable length, m"),
    "resistance_mohm": _("Resistance, milliohm"),
    "cable_temp_c": _("Cable at, degrees C"),
}
KINDS = [("", _("Glove")), *((kind, name) for kind, name in KIND_NAMES.items() if kind != "glove")]


class StartVisitForm(SentOnce):
    """Who comes, and until when."""

    organisation = text_field(_("Whose crew is it?"), most=50)
    coming_from = text_field(_("Coming from"), most=80, required=False)
    contact = text_field(_("Who speaks for them"), most=80, required=False)
    phone = text_field(_("Phone"), most=40, required=False)
    expected_until = day_field(_("Expected until"))

    def stated(self) -> dict[str, Any]:
        return {name: value or "" for name, value in self.cleaned_data.items() if name != "id"}


def _cell(name: str) -> forms.Field:
    attrs = {"autocomplete": "off", "spellcheck": "false", "maxlength": visiting.LONGEST_CELL}
    if name == "tested_on":
        attrs["placeholder"] = "2026-09-14"
    return text_field(
        LABELS[name], most=visiting.LONGEST_CELL, required=False, widget=forms.TextInput(attrs=attrs)
    )


class SharedForm(SentOnce):
    """What holds for every row that says nothing else of it, and the reports that were seen here."""

    kind = forms.ChoiceField(label=LABELS["kind"], choices=list(KIND_NAMES.items()))
    papers = forms.CharField(
        label=_("Numbers of the reports that you have before you"),
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        help_text=_("Parted by commas. A report that nobody here has seen proves nothing."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields |= {name: _cell(name) for name in visiting.SHARED if name != "kind"}
        self.order_fields([*visiting.SHARED, "papers", "id"])

    @classmethod
    def about(cls, visit: Visit) -> SharedForm:
        usual = {"kind": "glove", "supply": "ac"} if not visit.shared else {}
        shown = {**usual, **visit.shared, "papers": ", ".join(visit.papers)}
        return cls(initial={"id": uuid4(), **shown})

    def stated(self) -> dict[str, Any]:
        shared = {name: self.cleaned_data[name] or "" for name in visiting.SHARED}
        return {"shared": shared, "papers": (self.cleaned_data["papers"] or "").split(",")}


class RowForm(SentOnce):
    """One pair or one piece, keyed from the top left to the bottom right; Enter keeps it."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields |= {name: _cell(name) for name in visiting.PLAIN}
        self.fields["person"].widget.attrs["autofocus"] = True
        self.order_fields([*visiting.PLAIN, "id"])

    def cells(self) -> dict[str, str]:
        return {name: self.cleaned_data[name] or "" for name in visiting.PLAIN}


class PasteForm(SentOnce):
    """Rows as they stand in a spreadsheet."""

    paste = forms.CharField(
        label=_("Rows from a spreadsheet or a CSV file"),
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false", "autocomplete": "off"}),
        help_text=_(
            "Person, size, number left, number right, current left, current right; or any columns under their names "
            "in the first line, also kind, class, hand, tested_on, lab, report_no, lab_result, applied_v, seconds."
        ),
    )


class DoForm(SentOnce):
    """A button: strike a row, check in."""

    row = forms.UUIDField(widget=forms.HiddenInput, required=False)


class LooksForm(SentOnce):
    """What was found on the pieces of each row, by whoever is signed in; a row that is left alone stays open."""

    def __init__(self, *args: Any, rows: list[VisitRow], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.rows = rows
        choices = [("", _("not looked at")), *LOOK_NAMES.items()]
        for row in rows:
            self.fields[f"look_{row.pk}"] = forms.ChoiceField(
                label=row.cells.get("person") or _("Crew"), choices=choices, required=False
            )

    def looks(self) -> dict[UUID, str]:
        """The look of each row that has one now."""
        found = {row.pk: self.cleaned_data.get(f"look_{row.pk}") or "" for row in self.rows}
        return {key: look for key, look in found.items() if look}


class LeavingForm(SentOnce):
    """Pieces that go home, or that are missing."""

    pieces = forms.MultipleChoiceField(label=_("Pieces"), required=False)
    reason = text_field(_("If missing: what is known of it"), most=300, required=False)

    def __init__(self, *args: Any, numbers: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["pieces"].choices = [(one, one) for one in numbers]
