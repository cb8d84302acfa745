"""Forms of lab result files: which file through which mapping, and the mapping itself beside a sample."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear.forms.strict import NOT_CHOSEN, PlainForm, choice_field, text_field
from gear.models import Holder
from gear.queries.picking import holders_for
from gear.rules.tables import Problem
from inspections import queries, wording
from inspections.models import PURPOSE_NAMES, SUPPLY_NAMES, LabMapping, Shipment
from inspections.rules import labfile, units
from inspections.rules.labfile import Column, LabColumns

SEPARATORS = (
    ("comma", gettext_lazy("Comma")),
    ("semicolon", gettext_lazy("Semicolon")),
    ("tab", gettext_lazy("Tab")),
)
DECIMALS = (("point", gettext_lazy("Point: 12.5")), ("comma", gettext_lazy("Comma: 12,5")))
NOT_NEEDED = ("", gettext_lazy("Not needed"))
TARGET_NAMES = {
    "item_no": gettext_lazy("Our item number"),
    "tested_on": gettext_lazy("Tested on"),
    "purpose": gettext_lazy("Purpose"),
    "supply": gettext_lazy("Supply, AC or DC"),
    "applied_v": gettext_lazy("Voltage applied"),
    "seconds": gettext_lazy("Held for"),
    "leakage_ma": gettext_lazy("Current"),
    "resistance_mohm": gettext_lazy("Resistance"),
    "cable_temp_c": gettext_lazy("Cable temperature"),
    "visual": gettext_lazy("The look"),
    "breakdown": gettext_lazy("Breakdown"),
    "flashover": gettext_lazy("Flashover"),
    "lab_result": gettext_lazy("The lab's result, compared only"),
    "lab": gettext_lazy("Lab"),
    "instrument": gettext_lazy("Instrument"),
    "report_no": gettext_lazy("Report number"),
    "class": gettext_lazy("Class, compared only"),
    "serial": gettext_lazy("Serial, compared only"),
    "length": gettext_lazy("Length, compared only"),
    "cable_length": gettext_lazy("Cable length, compared only"),
}
UNIT_NAMES = {"uA": "µA", "ohm": "Ω", "milliohm": "mΩ", "microohm": "µΩ", "C": "°C", "F": "°F"}
FILE = forms.ClearableFileInput(attrs={"accept": ".csv,.txt,.xlsx,text/csv"})


def _targets() -> list[tuple[str, Any]]:
    return [NOT_NEEDED, *((name, TARGET_NAMES[name]) for name in labfile.TARGETS)]


def _units() -> list[tuple[Any, Any]]:
    """Every unit under what it measures, so that nobody takes minutes for milliohm."""
    groups = [
        (TARGET_NAMES[target], [(unit, UNIT_NAMES.get(unit, unit)) for unit in factors])
        for target, factors in units.FACTORS.items()
    ]
    return [("", "–"), *groups]


class FileForm(PlainForm):
    """A lab's file, the mapping to read it through, and the shipment it is about."""

    mapping = forms.ModelChoiceField(
        LabMapping.objects.none(), label=gettext_lazy("Mapping"), empty_label=NOT_CHOSEN[1]
    )
    shipment = forms.ModelChoiceField(
        Shipment.objects.none(), label=gettext_lazy("Shipment"), required=False, to_field_name="number",
        empty_label=gettext_lazy("None in particular"),
        help_text=gettext_lazy("Then pieces that are missing from the file are named."),
    )  # fmt: skip
    file = forms.FileField(label=gettext_lazy("The lab's file"), widget=FILE)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("auto_id", "read_%s")
        super().__init__(*args, **kwargs)
        newest = [one.pk for one in queries.mappings()]
        self.fields["mapping"].queryset = LabMapping.objects.filter(pk__in=newest).order_by("name")
        self.fields["shipment"].queryset = Shipment.objects.filter(sent_at__isnull=False).order_by(
            "-sent_at", "-pk"
        )


class SampleForm(PlainForm):
    """A sample of what the lab sends."""

    sample = forms.FileField(label=gettext_lazy("A file of the lab as a sample"), widget=FILE)
    separator = choice_field(
        gettext_lazy("A CSV file separates its fields by"),
        SEPARATORS,
        help_text=gettext_lazy("Of no account for XLSX."),
    )
    start_from = forms.ModelChoiceField(
        LabMapping.objects.none(),
        label=gettext_lazy("Start from"),
        required=False,
        empty_label=gettext_lazy("Nothing"),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("auto_id", "sample_%s")
        super().__init__(*args, **kwargs)
        newest = [one.pk for one in queries.mappings()]
        self.fields["start_from"].queryset = LabMapping.objects.filter(pk__in=newest).order_by("name")


class MappingForm(PlainForm):
    """What every column of a sample is, beside its first rows; and what counts for the whole file."""

    name = text_field(gettext_lazy("Name of the mapping"), most=60)
    lab = forms.ModelChoiceField(Holder.objects.none(), label=gettext_lazy("Lab"), empty_label=None)
    date_format = choice_field(
        gettext_lazy("Dates are written"), [NOT_CHOSEN, *((one, one) for one in labfile.DATE_FORMATS)]
    )
    decimal = choice_field(gettext_lazy("Decimals are written with a"), DECIMALS)
    purpose = choice_field(
        gettext_lazy("Purpose of every test"),
        [NOT_NEEDED, *PURPOSE_NAMES.items()],
        required=False,
    )
    supply = choice_field(
        gettext_lazy("Supply of every test"),
        [NOT_NEEDED, *SUPPLY_NAMES.items()],
        required=False,
    )
    instrument = text_field(gettext_lazy("Instrument of every test"), most=80, required=False)

    def __init__(
        self, *args: Any, header: Sequence[str], rows: Sequence[Sequence[str]], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.header, self.rows = list(header), rows
        self.fields["lab"].queryset = holders_for(["lab"])
        for place, name in enumerate(self.header):
            values = {"name": name}
            self.fields[f"to_{place}"] = choice_field(
                _("What %(name)s is") % values, _targets(), required=False
            )
            self.fields[f"unit_{place}"] = choice_field(
                _("Unit of %(name)s") % values, _units(), required=False
            )
            self.fields[f"words_{place}"] = text_field(
                _("Words of %(name)s") % values, most=400, required=False
            )

    def columns(self) -> list[dict[str, Any]]:
        """Every column of the sample with its first values and its three fields."""
        return [
            {
                "name": name,
                "samples": list(dict.fromkeys(row[place] for row in self.rows if row[place]))[:3],
                "to": self[f"to_{place}"],
                "unit": self[f"unit_{place}"],
                "words": self[f"words_{place}"],
            }
            for place, name in enumerate(self.header)
        ]

    def whole(self) -> list[Any]:
        """The fields that count for the whole file."""
        return [self[name] for name in MappingForm.base_fields]

    def our_words(self) -> list[tuple[Any, tuple[str, ...]]]:
        """(column of ours, its words) for those that take only some."""
        return [(TARGET_NAMES[name], words) for name, words in labfile.WORDS.items()]

    def clean(self) -> dict[str, Any]:
        for place in range(len(self.header)):
            try:
                self.cleaned_data[f"words_{place}"] = _words(self.cleaned_data.get(f"words_{place}") or "")
            except ValidationError as error:
                self.add_error(f"words_{place}", error)
        return self.cleaned_data

    def stated(self, separator: str) -> LabColumns:
        """The mapping as the rules take it."""
        said = self.cleaned_data
        columns = {
            name: _column(said[f"to_{place}"], said[f"unit_{place}"], said[f"words_{place}"])
            for place, name in enumerate(self.header)
        }
        constants = {name: said[name] for name in ("purpose", "supply", "instrument") if said[name]}
        return LabColumns(columns, said["date_format"], said["decimal"], separator, constants)

    def add_faults(self, problems: Sequence[Problem]) -> None:
        """Each fault beside its column, or over the form."""
        for one in problems:
            name = str(one.values.get("field", ""))
            told = {**one.values, "field": TARGET_NAMES.get(name, name)}
            place = self.header.index(name) if name in self.header else None
            part = "unit" if one.code == "NO_UNIT" else "words" if one.code == "NO_SUCH_WORD" else "to"
            sentence = wording.line_problem(Problem(0, one.code, told))
            self.add_error(None if place is None else f"{part}_{place}", sentence)

    @staticmethod
    def filled(mapping: LabMapping, header: Sequence[str]) -> dict[str, Any]:
        """What an earlier version says of the columns that the sample still has."""
        known = labfile.from_json(mapping.content)
        first: dict[str, Any] = {"name": mapping.name, "lab": mapping.lab_id, **known.constants}
        first |= {"date_format": known.date_format, "decimal": known.decimal}
        for place, name in enumerate(header):
            if column := known.columns.get(name):
                # Sorted: PostgreSQL keeps the words of a mapping in an order of its own.
                words = "; ".join(f"{theirs} = {ours}" for theirs, ours in sorted(column.words.items()))
                first |= {f"to_{place}": column.to, f"unit_{place}": column.unit, f"words_{place}": words}
        return first


def _column(to: str, unit: str, words: dict[str, str]) -> Column:
    """A unit or words beside a column that has none are left out: they would say nothing."""
    return Column(to, unit if to in units.FACTORS else "", words if to in labfile.WORDS else {})


def _words(typed: str) -> dict[str, str]:
    """`PASS = accept; FAIL = reject` to {"PASS": "accept", "FAIL": "reject"}."""
    found: dict[str, str] = {}
    for part in typed.split(";"):
        if not part.strip():
            continue
        theirs, equals, ours = (one.strip() for one in part.partition("="))
        if not (theirs and equals and ours):
            raise ValidationError(
                _("Write the lab's word, an equals sign and ours: PASS = accept; FAIL = reject")
            )
        if theirs.casefold() in {one.casefold() for one in found}:
            raise ValidationError(
                _("%s stands here twice. Words are read in any case: leave one out.") % theirs
            )
        found[theirs] = ours
    return found
