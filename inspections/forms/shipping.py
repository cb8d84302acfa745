"""Forms of a carton: starting it, each scan into it, sending it, and each piece that comes back."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any
from uuid import uuid4

from django import forms
from django.utils.translation import gettext_lazy as _

from gear.forms.strict import NOT_CHOSEN, PlainForm, choice_field, day_field, number_field, text_field
from gear.models import Holder
from gear.queries.picking import holders_for
from gear.rules import values
from inspections.models import SETTLED_NAMES, Shipment
from inspections.rules.shipping import EXTRA, OF_A_LINE, PASSED, WITHDRAWN

USUALLY_AWAY = timedelta(days=9)  # out on Tuesday, in on Thursday of the week after


class SentOnce(PlainForm):
    """`id` is made with the form, so that sending it twice does the act once."""

    id = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        # Several forms stand on one page.
        kwargs.setdefault("auto_id", f"{type(self).__name__.removesuffix('Form').lower()}_%s")
        super().__init__(*args, **kwargs)


class PlanForm(SentOnce):
    """What stands on the slip beside the pieces."""

    expected_on = day_field(_("Expected back"))
    carton = number_field(_("Carton"), values.whole)
    cartons = number_field(_("of cartons"), values.whole)
    courier_no = text_field(_("Courier number"), most=60, required=False)

    def stated(self) -> dict[str, Any]:
        """The fields as the actions take them."""
        names = ("expected_on", "carton", "cartons")
        return {
            **{name: self.cleaned_data[name] for name in names},
            "courier_no": self.cleaned_data["courier_no"] or "",
        }

    @classmethod
    def about(cls, shipment: Shipment) -> PlanForm:
        """The form with what the shipment says now."""
        names = ("expected_on", "carton", "cartons", "courier_no")
        return cls(initial={"id": uuid4(), **{name: getattr(shipment, name) for name in names}})


class StartForm(PlanForm):
    """To which lab, and when it should be back."""

    lab = forms.ModelChoiceField(Holder.objects.none(), label=_("Lab"), empty_label=None)
    field_order = ("lab", "expected_on", "carton", "cartons", "courier_no", "id")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["lab"].queryset = holders_for(["lab"])

    @classmethod
    def blank(cls, today: date) -> StartForm:
        first = {"expected_on": today + USUALLY_AWAY, "carton": 1, "cartons": 1}
        return cls(initial={"id": uuid4(), **first})

    def stated(self) -> dict[str, Any]:
        return {**super().stated(), "lab": self.cleaned_data["lab"]}


PIECE = {"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false", "enterkeyhint": "go"}


def _piece(label: Any) -> forms.Field:
    """One scan: an item number, a label code or a serial."""
    widget = forms.TextInput(attrs={**PIECE, "autofocus": True, "maxlength": 300})
    return text_field(label, most=300, widget=widget)


class ScanForm(SentOnce):
    """A piece goes into the carton."""

    piece = _piece(_("Scan the next piece"))
    note = text_field(
        _("Note for the lab on this piece"),
        most=200,
        required=False,
        help_text=_("For example: suspect, finger 3."),
    )


class SendForm(SentOnce):
    """The carton leaves."""

    courier_no = text_field(_("Courier number"), most=60, required=False)


class OutcomeFields(SentOnce):
    """What belongs to an outcome; which of it is needed the act itself says."""

    outcome = choice_field(_("What became of it?"), (), radio=True)
    shelf = forms.ModelChoiceField(
        Holder.objects.none(), label=_("It goes to"), required=False, empty_label=NOT_CHOSEN[1]
    )
    report_no = text_field(_("Report of the lab"), most=80, required=False)
    read = text_field(
        _("Read on the piece"),
        required=False,
        help_text=_("Where its marks differ, or where nobody knows it: class, serial, size, hand."),
    )
    note = text_field(_("Note"), most=300, required=False)
    outcomes: tuple[str, ...] = (*OF_A_LINE, EXTRA)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["outcome"].choices = [(one, SETTLED_NAMES[one]) for one in self.outcomes]
        self.fields["shelf"].queryset = holders_for(["shelf", "bench"])

    def stated(self) -> dict[str, Any]:
        """The fields of actions.reconciling.Stated."""
        words = {name: self.cleaned_data[name] or "" for name in ("outcome", "report_no", "read", "note")}
        return {**words, "shelf": self.cleaned_data["shelf"]}


class BackForm(OutcomeFields):
    """A piece comes back. `passed` is chosen beforehand; what ends a piece is chosen anew each time."""

    piece = _piece(_("Scan the next piece that came back"))
    field_order = ("piece", "outcome", "shelf", "report_no", "read", "note", "id")

    @classmethod
    def blank(cls, *, piece: str = "", outcome: str = PASSED, **kept: Any) -> BackForm:
        chosen = outcome if outcome in cls.outcomes else PASSED
        return cls(initial={"id": uuid4(), "piece": piece[:300], "outcome": chosen, **kept})


class AmendForm(OutcomeFields):
    """Another outcome in the place of a wrong one."""

    outcomes = (*OF_A_LINE, WITHDRAWN)
    note = text_field(_("Why is it corrected?"), most=300)

    def __init__(self, *args: Any, extra: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if extra:
            self.fields["outcome"].choices = [(WITHDRAWN, SETTLED_NAMES[WITHDRAWN])]
            for name in ("shelf", "report_no", "read"):
                del self.fields[name]

    def stated(self) -> dict[str, Any]:
        words = {name: self.cleaned_data.get(name) or "" for name in ("outcome", "report_no", "read", "note")}
        return {**words, "shelf": self.cleaned_data.get("shelf")}


class LineForm(SentOnce):
    """A button beside one piece: undo its scan, or say that it did not come back."""

    item_no = forms.CharField(widget=forms.HiddenInput, max_length=40)
