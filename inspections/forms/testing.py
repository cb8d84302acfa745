"""The form of one electrical test: only the fields of the kind, filled in as far as the rule pack can."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Any

from django import forms
from django.forms.boundfield import BoundField
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear.forms.strict import PlainForm, choice_field, day_field, number_field, text_field
from gear.rules import units, values
from gear.rules.values import BadValue
from inspections.models import LOOK_NAMES, PURPOSE_NAMES, SUPPLY_NAMES
from inspections.rules.acceptance import Reading
from inspections.rules.bench import GROUND, BenchSheet
from inspections.rules.bounds import BOUNDS
from inspections.rules.testbook import bounded
from inspections.rules.testfacts import Paper, plain

STICKY = ("tested_on", "supply", "lab", "instrument", "report_no")  # carried from one item to the next
LAB_SAYS = (
    ("", gettext_lazy("Not stated")),
    ("accept", gettext_lazy("Accept")),
    ("reject", gettext_lazy("Reject")),
)


@dataclass(frozen=True)
class OnBench:
    """The item on the bench as the form needs it; `today` is the site's day."""

    item_no: str
    kind: str
    sheet: BenchSheet
    today: date
    purpose: str = "in_service"
    carried: Mapping[str, str] = field(default_factory=dict)


def kilovolts(name: str, given: str) -> int:
    """kV as typed, in V. Raises BadValue: 20000 is surely volts."""
    kv = values.decimal(name, given)
    least, most = (units.kv_from_volts(int(one)) for one in BOUNDS["applied_v"])
    if not least <= kv <= most:
        raise BadValue("OUT_OF_RANGE", name, given, least=str(least), most=str(most))
    return units.volts_from_kv(kv)


def _reading(label: Any, name: str, help_text: Any = "") -> forms.Field:
    """A reading of bounds.BOUNDS, under the name by which the bounds know it."""
    read = partial(_bounded_as, name)
    return number_field(label, read, required=False, help_text=help_text)


def _bounded_as(name: str, _field: str, given: str) -> int | Decimal:
    return bounded(name, given)


class TestForm(PlainForm):
    """Readings first, then how they were taken, then the paper. There is no field for the verdict."""

    __test__ = False  # not a test class
    id = forms.UUIDField(widget=forms.HiddenInput)
    item_no = forms.CharField(widget=forms.HiddenInput, max_length=40)
    leakage_ma = _reading(gettext_lazy("Current, mA"), "leakage_ma")
    resistance_mohm = _reading(gettext_lazy("Resistance, milliohm"), "resistance_mohm")
    cable_temp_c = _reading(gettext_lazy("Temperature of the cable, °C"), "cable_temp_c")
    visual = choice_field(gettext_lazy("The look, before and after"), tuple(LOOK_NAMES.items()), radio=True)
    breakdown = forms.BooleanField(label=gettext_lazy("Breakdown: the voltage went through"), required=False)
    flashover = forms.BooleanField(label=gettext_lazy("Flashover at the cuff or edge"), required=False)
    purpose = choice_field(gettext_lazy("Purpose"), tuple(PURPOSE_NAMES.items()))
    tested_on = day_field(gettext_lazy("Tested on"))
    supply = choice_field(gettext_lazy("Supply"), tuple(SUPPLY_NAMES.items()), radio=True)
    applied_kv = number_field(gettext_lazy("Proof voltage applied, kV"), kilovolts, required=False)
    seconds = _reading(gettext_lazy("Held for, seconds"), "seconds")
    instrument = text_field(gettext_lazy("Instrument"), most=80, required=False)
    lab = text_field(gettext_lazy("Lab"), most=80, required=False)
    report_no = text_field(gettext_lazy("Report number"), most=80, required=False)
    lab_result = choice_field(
        gettext_lazy("What the lab says"),
        LAB_SAYS,
        required=False,
        help_text=gettext_lazy("Compared with the readings and never believed."),
    )

    def __init__(
        self, *args: Any, bench: OnBench, initial: Mapping[str, Any] | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, initial={**first_values(bench), **(initial or {})}, **kwargs)
        self.bench = bench
        for name in TestForm.base_fields.keys() - fields_of(bench):
            del self.fields[name]
        self.fields["tested_on"] = day_field(gettext_lazy("Tested on"), not_after=bench.today)
        if "supply" in self.fields:
            self._offer_supplies()
        if "leakage_ma" in self.fields and bench.sheet.limit_ma is not None:
            limit = _("At most %s mA on AC.") % bench.sheet.limit_ma.value
            self.fields["leakage_ma"].help_text = limit
        first = next(name for name in (*bench.sheet.reads, "visual") if name in self.fields)
        self.fields[first].widget.attrs["autofocus"] = True

    def _offer_supplies(self) -> None:
        supplies, field_ = self.bench.sheet.supplies, self.fields["supply"]
        field_.choices = [(one, SUPPLY_NAMES[one]) for one in supplies]  # type: ignore[attr-defined]
        if len(supplies) == 1:
            field_.help_text = _("DC does not count for this kind.")

    def clean_item_no(self) -> str:
        if self.cleaned_data["item_no"] != self.bench.item_no:
            raise forms.ValidationError(_("This form belongs to another item. Open it again."))
        return self.bench.item_no

    def clean(self) -> dict[str, Any]:
        """A test that ended early may lack a reading; one that ran to its end may not."""
        cleaned = super().clean() or {}
        found = cleaned.get("visual") not in (None, "accept")
        ended = found or cleaned.get("breakdown") or cleaned.get("flashover")
        for name in self.needed():
            if not ended and name in self.fields and cleaned.get(name) is None and name not in self.errors:
                self.add_error(name, _("%s is missing.") % self.fields[name].label)
        return cleaned

    def needed(self) -> Sequence[str]:
        """The readings without which a test proves nothing. On DC the current of a glove decides nothing."""
        names = ("resistance_mohm", "cable_temp_c", "applied_kv", "seconds")
        return names if self.cleaned_data.get("supply") == "dc" else ("leakage_ma", *names)

    def reading(self) -> Reading:
        """What was read, for judging."""
        stated = self.cleaned_data
        names = ("tested_on", "purpose", "supply", "seconds", "leakage_ma", "resistance_mohm", "cable_temp_c", "visual",
                 "breakdown", "flashover")  # fmt: skip
        return Reading(applied_v=stated.get("applied_kv"), **{name: stated.get(name) for name in names})

    def paper(self) -> Paper:
        """What came with the readings."""
        names = ("lab_result", "lab", "instrument", "report_no")
        return Paper(**{name: self.cleaned_data.get(name) or "" for name in names})

    def groups(self) -> list[tuple[Any, list[BoundField]]]:
        """The fields as they stand on the page: title and fields."""
        named = (
            (gettext_lazy("Readings"), (*self.bench.sheet.reads, "visual", "breakdown", "flashover")),
            (gettext_lazy("How it was tested"), ("purpose", "tested_on", "supply", "applied_kv", "seconds")),
            (gettext_lazy("Papers"), ("instrument", "lab", "report_no", "lab_result")),
        )
        return [(title, [self[name] for name in names if name in self.fields]) for title, names in named]


def fields_of(bench: OnBench) -> set[str]:
    """The fields that are asked for an item: those of its kind alone."""
    always = {
        "id",
        "item_no",
        "visual",
        "purpose",
        "tested_on",
        "instrument",
        "lab",
        "report_no",
        "lab_result",
    }
    if bench.kind == GROUND or not bench.sheet.supplies:
        return always | set(bench.sheet.reads)
    return always | {*bench.sheet.reads, "breakdown", "flashover", "supply", "applied_kv", "seconds"}


def first_values(bench: OnBench) -> dict[str, Any]:
    """What the form says before anybody types: the usual purpose, today, and the proof voltage of the class on AC."""
    carried = {name: bench.carried[name] for name in STICKY if bench.carried.get(name)}
    supply = carried.get("supply", "")
    stated = {
        "item_no": bench.item_no,
        "purpose": bench.purpose,
        "tested_on": bench.today.isoformat(),
        **carried,
        "supply": supply if supply in bench.sheet.supplies else next(iter(bench.sheet.supplies), ""),
    }
    return stated | filled(bench.sheet, purpose=stated["purpose"], supply=stated["supply"])


def filled(sheet: BenchSheet, *, purpose: str, supply: str) -> dict[str, str]:
    """Proof voltage in kV and seconds for a purpose and a supply, as text; nothing where the pack has none."""
    proof, seconds = sheet.proof.get(supply), sheet.seconds.get(purpose)
    return {
        "applied_kv": str(units.kv_from_volts(int(proof.value))) if proof else "",  # type: ignore[arg-type]
        "seconds": plain(Decimal(seconds.value)) if seconds else "",  # type: ignore[arg-type]
    }


class TestCorrectionForm(TestForm):
    """The same form, started from what counts now, with the reason for the correction."""

    __test__ = False  # not a test class
    why = text_field(
        gettext_lazy("Why is it corrected?"),
        most=500,
        help_text=gettext_lazy("It stands beside the correction for ever."),
    )

    def groups(self) -> list[tuple[Any, list[BoundField]]]:
        return [*super().groups(), (gettext_lazy("The correction"), [self["why"]])]


def values_stated(facts: Mapping[str, Any], tested_on: date) -> dict[str, Any]:
    """First values of the form from the facts of a `tested` entry."""
    readings = {name: value for name, value in facts["readings"].items() if name != "calibration"}
    volts = readings.pop("applied_v", None)
    kv = {"applied_kv": str(units.kv_from_volts(volts)) if volts is not None else ""}
    return {"seconds": "", **readings, **kv, "purpose": facts["purpose"], "tested_on": tested_on.isoformat()}
