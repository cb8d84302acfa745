"""The form of a batch: what its pieces share, their numbers, serials and sets, by keyboard alone."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from django import forms
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from gear.actions.delivery import sentence_of
from gear.actions.sets import next_number
from gear.forms.receiving import LABELS, MARKS, OWN, ReceiveForm
from gear.forms.strict import choice_field, text_field
from gear.models import Item, User
from gear.queries.picking import next_item_no
from gear.rules.delivery import Delivery
from gear.rules.readiness import HANDED
from gear.rules.tables import Problem

SETS = frozenset({"grounding_jumper"})
NUMBERS: Mapping[str, str] = {
    "glove": "G", "sleeve": "SL", "blanket": "B", "line_hose": "LH", "hood": "H", "rigid_cover": "C",
    "grounding_jumper": "J", "live_line_tool": "T", "voltage_detector": "VD", "protector": "PR",
}  # fmt: skip
NAMES: Mapping[str, object | Promise] = {
    **LABELS,
    "count": _("How many"),
    "pieces": _("Pairs or one hand"),
    "first_no": _("First item number"),
    "first_serial": _("First serial"),
    "last_serial": _("Last serial"),
    "batch_set_no": _("First number of the sets"),
    "set_no": _("First number of the sets"),
    "per_set": _("Jumpers in a set"),
}
# field of the row: the field of this form that it is counted up from
COUNTED_FROM = {"item_no": "first_no", "serial": "first_serial", "set_no": "batch_set_no", "hand": "pieces"}
WORKED = ("pieces", "count", "first_no", "numbering", "per_set", "batch_set_no")
SERIALS = ("serials", "first_serial", "last_serial", "serial_list", "serial_of")


class BatchForm(ReceiveForm):
    """Many pieces of one make. `plan` is what was shown of it: another batch is shown again before it is received."""

    plan = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, kind: str, by: User, **kwargs: Any) -> None:
        super().__init__(*args, kind=kind, by=by, **kwargs)
        if not self.is_bound:
            self.fields[self.asked()[0]].widget.attrs["autofocus"] = (
                True  # the keyboard is all that is needed
            )
        self.fields |= {name: field for name, field in _worked(kind).items() if self._asks(name)}

    def asked(self) -> tuple[str, ...]:
        """The fields that all pieces share."""
        own = tuple(name for name in OWN[self.kind] if name != "hand")
        return (*own, *(name for name in MARKS if name != "serial"), "received_on", "holder")

    def _asks(self, name: str) -> bool:
        if name in ("pieces", "numbering", "serial_of"):
            return self.kind in HANDED
        if name == "per_set":
            return self.kind in SETS
        return name != "batch_set_no" or self.kind in HANDED or self.kind in SETS

    def batch(self) -> Delivery:
        """What was stated, as the rules count it up."""
        stated = self.cleaned_data
        return Delivery(
            kind=self.kind,
            count=stated["count"],
            first_no=stated["first_no"] or "",
            shared={name: stated.get(name) or "" for name in self.asked()},
            pieces=stated.get("pieces") or "",
            numbering=stated.get("numbering") or "each",
            serials=stated["serials"],
            first_serial=stated["first_serial"] or "",
            last_serial=stated["last_serial"] or "",
            serial_list=tuple(
                one.strip() for one in re.split(r"[\r\n,;\t]+", stated["serial_list"]) if one.strip()
            ),
            serial_of=stated.get("serial_of") or "same",
            set_no=stated.get("batch_set_no") or "",
            per_set=stated.get("per_set") or 0,
        )

    def clean(self) -> dict[str, Any]:
        stated = super().clean() or {}
        if stated.get("serials") == "range":
            for name in ("first_serial", "last_serial"):
                if not stated.get(name) and name not in self.errors:
                    self.add_error(name, _("Give the first and the last serial of the range."))
        if stated.get("serials") == "list" and not stated.get("serial_list", "").strip():
            self.add_error("serial_list", _("Paste the serials, one a line."))
        sets = stated.get("pieces") == "pairs" or stated.get("per_set")
        if sets and not stated.get("batch_set_no") and "batch_set_no" not in self.errors:
            self.add_error("batch_set_no", _("Give the first number; the others are counted up from it."))
        return stated

    def add_batch_problems(self, problems: Iterable[Problem]) -> None:
        """Put what is wrong with the statement beside its field; what is wrong with a row stands by the row."""
        for problem in problems:
            if problem.line:
                continue
            name = str(problem.values.get("field", ""))
            name = name if name in self.fields else COUNTED_FROM.get(name, name)
            self.add_error(name if name in self.fields else None, sentence_of(problem, NAMES))


def _worked(kind: str) -> dict[str, forms.Field]:
    """What is counted up, and the note."""
    return {**_counted(kind), **_marked()}


def _counted(kind: str) -> dict[str, forms.Field]:
    number = {"inputmode": "numeric", "autocomplete": "off", "class": "short"}
    pairs = _("Pairs of left and right")
    return {
        "pieces": choice_field(
            NAMES["pieces"], (("pairs", pairs), ("L", _("Left only")), ("R", _("Right only"))), radio=True
        ),
        "count": forms.IntegerField(
            label=NAMES["count"],
            min_value=1, max_value=500, widget=forms.TextInput(attrs=number),
            help_text=_("Pairs, or pieces where one hand came. As counted, not as on the paper.")
            if kind in HANDED else _("As counted, not as on the paper."),
        ),
        "first_no": text_field(NAMES["first_no"], most=40, help_text=_("The others are counted up from it.")),
        "numbering": choice_field(
            _("Numbers of a pair"),
            (("each", _("One after the other: G-001, G-002")), ("hand", _("One, with the hand: G-001-L, G-001-R"))),
        ),
        "per_set": forms.IntegerField(
            label=NAMES["per_set"], min_value=1, max_value=12, required=False, widget=forms.TextInput(attrs=number),
            help_text=_("Empty: they form no sets now."),
        ),
        "batch_set_no": text_field(NAMES["batch_set_no"], most=40, required=False),
    }  # fmt: skip


def _marked() -> dict[str, forms.Field]:
    return {
        "serials": choice_field(
            _("Serials"),
            (("range", _("A range")), ("list", _("A list")), ("none", _("None are marked"))),
            radio=True,
        ),
        "first_serial": text_field(NAMES["first_serial"], most=60, required=False),
        "last_serial": text_field(NAMES["last_serial"], most=60, required=False),
        "serial_list": forms.CharField(
            label=_("Serials, one a line"), required=False,
            widget=forms.Textarea(attrs={"rows": 3, "autocomplete": "off"}),
        ),
        "serial_of": choice_field(
            _("Serial of a pair"),
            (
                ("same", _("The same on both hands")),
                ("hand", _("With the hand after it: 4711-L, 4711-R")),
                ("each", _("One for each piece, left first")),
            ),
        ),
        "papers": text_field(
            _("Papers that came with it"), most=500, required=False,
            help_text=_("A note only. A maker's test on paper makes nothing good: each piece needs its first test."),
        ),
    }  # fmt: skip


def proposed(kind: str, day: date) -> dict[str, Any]:
    """First values: today, pairs, the next free numbers."""
    first: dict[str, Any] = {
        "received_on": day.isoformat(),
        "serials": "range",
        "first_no": _next_number(kind),
        "numbering": "each",
        "serial_of": "same",
    }
    if kind in HANDED:
        first |= {"pieces": "pairs", "batch_set_no": next_number("pair")}
    if kind in SETS:
        first |= {"batch_set_no": next_number("grounding")}
    return first


def _next_number(kind: str) -> str:
    """The next free number after those that this kind mostly bears; the newest that can be counted up decides."""
    newest = Item.objects.filter(item_type__kind=kind).order_by("-pk").values_list("item_no", flat=True)
    plain = [number for one in newest[:200] if (number := re.sub(r"-[LR]\Z", "", one))[-1:].isdigit()]
    heads = Counter(number.rstrip("0123456789") for number in plain)
    usual = heads.most_common(1)[0][0] if heads else f"{NUMBERS[kind]}-"
    newest_of_it = (number for number in plain if number.rstrip("0123456789") == usual)
    return next_item_no(next(newest_of_it, f"{usual}00001"))


__all__ = ["NAMES", "SERIALS", "WORKED", "BatchForm", "proposed"]
