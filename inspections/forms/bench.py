"""The forms of a bench session: what all its rows share, one row, and what a second person agrees to."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear.forms.strict import PlainForm, choice_field, day_field, number_field, sentence, text_field
from gear.models import User
from gear.queries.picking import witnesses_for
from gear.rules import values
from gear.rules.values import BadValue
from inspections.actions.bench_judging import BenchRefused
from inspections.actions.bench_rows import Typed
from inspections.actions.bench_sessions import Particulars
from inspections.forms.testing import kilovolts
from inspections.models import LOOK_NAMES, MATERIAL_NAMES, METHOD_NAMES, PURPOSE_NAMES, SUPPLY_NAMES
from inspections.rules.bench import GROUND
from inspections.rules.bounds import ROOM_BOUNDS
from inspections.rules.testbook import bounded

LATER = "later"
LOOK_CHOICES = (("", gettext_lazy("Accepted, as the button says")), *LOOK_NAMES.items())
AFTER_CHOICES = (*LOOK_CHOICES, (LATER, gettext_lazy("Later: it is still wet")))
NOT_STATED = ("", gettext_lazy("Not stated"))


def _room(name: str, field: str, given: str) -> Decimal:
    number = values.decimal(field, given, negative=name == "ambient_c")
    least, most = ROOM_BOUNDS[name]
    if not least <= number <= most or number != round(number, 2):
        raise BadValue("OUT_OF_RANGE", field, given, least=str(least), most=str(most))
    return number


def _bounded_as(name: str, _field: str, given: str) -> int | Decimal:
    return bounded(name, given)


class SessionForm(PlainForm):
    """What all rows of a session share."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    purpose = choice_field(gettext_lazy("Purpose"), tuple(PURPOSE_NAMES.items()))
    supply = choice_field(gettext_lazy("Supply"), tuple(SUPPLY_NAMES.items()), radio=True)
    tested_on = day_field(gettext_lazy("Tested on"))
    instrument = text_field(gettext_lazy("Instrument"), most=80)
    bench = text_field(gettext_lazy("Bench"), most=80)
    water = text_field(
        gettext_lazy("Water and clearance"),
        most=120,
        required=False,
        help_text=gettext_lazy("As it was: tap water, changed today, 64 mm below the cuff."),
    )
    ambient_c = number_field(gettext_lazy("Room, °C"), partial(_room, "ambient_c"), required=False)
    humidity_pct = number_field(gettext_lazy("Humidity, %"), partial(_room, "humidity_pct"), required=False)

    def __init__(self, *args: Any, today: date, instruments: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["tested_on"] = day_field(gettext_lazy("Tested on"), not_after=today)
        self.fields["instrument"].widget.attrs["list"] = "instruments"
        self.instruments = instruments

    def particulars(self) -> Particulars:
        """What was stated."""
        stated = {name: value for name, value in self.cleaned_data.items() if name != "id"}
        stated["water"] = stated["water"] or ""
        return Particulars(**stated)


class RowForm(PlainForm):
    """One row. The reading is milliamperes or milliohms, as the kind says; there is no field for the verdict."""

    scan = forms.CharField(widget=forms.HiddenInput, max_length=300)
    id = forms.UUIDField(widget=forms.HiddenInput)
    replaces = forms.UUIDField(widget=forms.HiddenInput, required=False)
    again = forms.BooleanField(widget=forms.HiddenInput, required=False)
    reading = forms.CharField(
        label=gettext_lazy("Reading"),
        required=False,
        max_length=20,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    cable_temp_c = number_field(
        gettext_lazy("Cable, °C"), partial(_bounded_as, "cable_temp_c"), required=False
    )
    method = choice_field(gettext_lazy("Method"), (NOT_STATED, *METHOD_NAMES.items()), required=False)
    material = choice_field(gettext_lazy("Conductor"), (NOT_STATED, *MATERIAL_NAMES.items()), required=False)
    test_a = number_field(gettext_lazy("Test current, A"), partial(_bounded_as, "test_a"), required=False)
    breakdown = forms.BooleanField(label=gettext_lazy("Breakdown: the voltage went through"), required=False)
    flashover = forms.BooleanField(label=gettext_lazy("Flashover at the cuff or edge"), required=False)
    look_before = choice_field(gettext_lazy("Look before the test"), LOOK_CHOICES, required=False)
    look_after = choice_field(gettext_lazy("Look after it, inflated"), AFTER_CHOICES, required=False)
    applied_kv = number_field(gettext_lazy("Applied, kV, if another"), kilovolts, required=False)
    seconds = number_field(
        gettext_lazy("Held for, s, if another"), partial(_bounded_as, "seconds"), required=False
    )
    why = text_field(gettext_lazy("Why"), most=200, required=False)

    JUMPER = ("cable_temp_c", "method", "material", "test_a")
    OTHERWISE = ("look_before", "look_after", "breakdown", "flashover", "applied_kv", "seconds", "why")

    def typed(self, kind: str) -> Typed:
        """The row for an item of this kind. Raises BenchRefused beside the reading where it is no number."""
        stated = self.cleaned_data
        looks = both_looks(stated.get("look_before", ""), stated.get("look_after", ""))
        names = ("cable_temp_c", "test_a", "method", "material", "seconds", "breakdown", "flashover", "replaces",
                 "again")  # fmt: skip
        return Typed(
            stated["scan"],
            look_before=looks[0],
            look_after=looks[1],
            applied_v=stated.get("applied_kv"),
            why=stated.get("why") or "",
            **read(kind, stated["reading"]),
            **{name: stated[name] for name in names},
        )


def read(kind: str, text: str) -> dict[str, Any]:
    """The reading under the name that its kind gives it. Raises BenchRefused."""
    name = "resistance_mohm" if kind == GROUND else "leakage_ma"
    if not text.strip():
        return {}
    try:
        return {name: bounded(name, text)}
    except BadValue as error:
        told = sentence(error, label=_("Reading"))
        raise BenchRefused(error.code, told, field="reading") from None


def both_looks(before: str, after: str) -> tuple[str, str]:
    """The two looks that the button states: accepted, except what was said otherwise.

    A look that ended the test has no look after it; `later` leaves the look after open.
    """
    if after == LATER:
        return before or "accept", ""
    if before in ("clean", "test", "reject"):
        return before, after
    return before or "accept", after or "accept"


class CheckerForm(PlainForm):
    """Another person who looked at it and agrees."""

    checker = forms.ModelChoiceField(User.objects.none(), label=gettext_lazy("Checked by"))

    def __init__(self, *args: Any, by: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["checker"]
        field.queryset = witnesses_for(by)
        field.empty_label = _("Choose")
        field.label_from_instance = lambda person: person.name


class CountForm(PlainForm):
    """How many rows are posted, typed as a person who has looked at the list does."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    count = number_field(gettext_lazy("How many rows are posted?"), values.whole)


class WhyForm(PlainForm):
    """A reason, in a few words."""

    why = text_field(gettext_lazy("Why?"), most=200)


def first_values(session: Any) -> Mapping[str, Any]:
    """The particulars of a session as its form shows them."""
    names = ("purpose", "supply", "tested_on", "instrument", "bench", "water", "ambient_c", "humidity_pct")
    return {name: getattr(session, name) for name in names}
