"""The form of one piece: only the fields of its kind, read as strictly as a row of the gear book."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from django import forms
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from gear.actions.receipt import BadReceipt, needed
from gear.forms.strict import PlainForm
from gear.models import Item, User
from gear.queries import entry_words
from gear.queries.picking import holders_for, next_item_no
from gear.rules.gearbook import CABLE_SIZES, CLASSES, GRADES

LABELS: Mapping[str, Promise] = {
    "item_no": _("Item number"),
    "class": _("Class"),
    "hand": _("Hand"),
    "size": _("Size"),
    "length_mm": _("Length, mm"),
    "type": _("Type"),
    "colour": _("Colour"),
    "rated_kv": _("Rated, kV"),
    "cable_size": _("Cable size"),
    "cable_length_m": _("Cable length between clamps, m"),
    "clamp_grade": _("Clamp grade"),
    "ferrule_grade": _("Ferrule grade"),
    "serial": _("Serial"),
    "maker": _("Maker"),
    "model": _("Model"),
    "lot": _("Lot"),
    "made_on": _("Made on"),
    "marked_expiry_on": _("Expiry marked on it"),
    "received_on": _("Received on"),
    "holder": _("Shelf"),
}
HELP: Mapping[str, Promise] = {
    "item_no": _("The site's own number, unique for ever."),
    "length_mm": _("As measured. The current limit of a glove depends on it: 14 in is 356 or 360 mm."),
    "cable_length_m": _("As measured. The resistance limit depends on it: 10 ft is 3.048 m."),
    "type": _("I is not resistant to ozone, II is."),
    "serial": _("As marked by the maker."),
    "rated_kv": _("As printed on the piece."),
    "holder": _("Empty: the tool room."),
}
# What is asked of a kind beside what is asked of all.
OWN: Mapping[str, tuple[str, ...]] = {
    "glove": ("class", "hand", "size", "length_mm", "type", "colour"),
    "sleeve": ("class", "hand", "size", "length_mm", "type", "colour"),
    "blanket": ("class", "size", "type", "colour"),
    "line_hose": ("class", "size", "length_mm", "type", "colour"),
    "hood": ("class", "size", "type", "colour"),
    "rigid_cover": ("class", "rated_kv", "size", "length_mm", "colour"),
    "grounding_jumper": ("cable_size", "cable_length_m", "clamp_grade", "ferrule_grade", "colour"),
    "live_line_tool": ("length_mm", "rated_kv", "colour"),
    "voltage_detector": ("rated_kv",),
    "protector": ("class", "hand", "size", "length_mm", "colour"),
}
MARKS = ("serial", "maker", "model", "lot", "made_on", "marked_expiry_on")
SHARED = ("maker", "model", "lot")  # what pieces of one delivery share beside their make
DATES = ("made_on", "marked_expiry_on", "received_on")
NUMBERS = ("length_mm", "cable_length_m", "rated_kv")
NOT_STATED = ("", _("Not stated"))
HANDS = (("L", _("Left")), ("R", _("Right")))
TYPES = (NOT_STATED, ("I", "I"), ("II", "II"))


class ReceiveForm(PlainForm):
    """One item of a kind. Every value stays text: the rules of the gear book read it."""

    id = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, kind: str, by: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.kind, self.by = kind, by
        for name in self.asked():
            self.fields[name] = field_of(name, kind, required=name in needed(kind))
        if "holder" in self.fields:
            self.fields["holder"] = self._shelves()

    def asked(self) -> tuple[str, ...]:
        return ("item_no", *OWN[self.kind], *MARKS, "received_on", "holder")

    def _shelves(self) -> forms.Field:
        shelves = holders_for(["shelf"])
        if self.by.depot:
            shelves = shelves.filter(depot=self.by.depot)
        words = [(one.name, entry_words.holder_word(one.as_fact())) for one in shelves]
        return forms.ChoiceField(
            label=LABELS["holder"],
            choices=[("", _("The tool room")), *words],
            required=False,
        )

    def cells(self) -> dict[str, str]:
        """The cells of a gear book row: text by column, what is empty left out."""
        stated = {name: self.cleaned_data.get(name) or "" for name in self.fields if name != "id"}
        return {"kind": self.kind, **{name: value for name, value in stated.items() if value}}

    def add_problems(self, error: BadReceipt) -> None:
        """Put every sentence beside its field; what has no field here stands over the form."""
        for name, sentence in error.told(LABELS).items():
            self.add_error(name if name in self.fields else None, sentence)


def field_of(name: str, kind: str, *, required: bool) -> forms.Field:
    """One field of the gear book as a form shows it for a kind."""
    words: Mapping[str, Any] = {
        "class": [(one, one) for one in CLASSES.get(kind, ())],
        "type": TYPES,
        "cable_size": [(one, one) for one in CABLE_SIZES],
        "clamp_grade": [(one, one) for one in GRADES],
        "ferrule_grade": [(one, one) for one in GRADES],
    }
    stated: dict[str, Any] = {"label": LABELS[name], "required": required, "help_text": HELP.get(name, "")}
    if name == "hand":
        return forms.ChoiceField(choices=HANDS, widget=forms.RadioSelect, **stated)
    if name in words:
        first = ("", _("Choose")) if required else NOT_STATED
        choices = [first, *(pair for pair in words[name] if pair[0])]
        return forms.ChoiceField(choices=choices, **stated)
    if name in DATES:
        widget: forms.Widget = forms.DateInput(attrs={"type": "date", "class": "short"})
    elif name in NUMBERS:
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off", "class": "short"})
    else:
        widget = forms.TextInput(attrs={"autocomplete": "off"})
    return forms.CharField(widget=widget, max_length=1000, **stated)


def like(item: Item, identity: Mapping[str, Any]) -> dict[str, str]:
    """First values for another piece of the same make: everything but what is its own, and the next free number."""
    names = (*OWN.get(identity.get("kind") or "", ()), *SHARED, "made_on")
    stated = {name: str(identity[name]) for name in names if identity.get(name) not in (None, "")}
    return {**stated, "item_no": next_item_no(item.item_no)}


def today(day: date) -> dict[str, str]:
    """The first value of the day of receipt."""
    return {"received_on": day.isoformat()}
