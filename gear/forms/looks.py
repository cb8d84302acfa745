"""Forms of looks and repairs: what follows, what was found, and where on the piece."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import wording
from gear.forms.acts import LONGEST_REASON, ActForm
from gear.forms.strict import choice_field, number_field, text_field
from gear.queries import look_words
from gear.rules import places_on, values, visual

OUTCOMES = {
    "accept": gettext_lazy("Accept: nothing found"),
    "clean": gettext_lazy("Clean, then look again"),
    "test": gettext_lazy("Send for test: in doubt"),
    "reject": gettext_lazy("Reject: never use it again"),
}
WORDS_THAT = {
    "clean": gettext_lazy("Needs cleaning"),
    "test": gettext_lazy("Needs a test"),
    "reject": gettext_lazy("Ends it"),
}
CUT_SHORTER = frozenset({"blanket", "line_hose"})  # 29 CFR 1910.137(c)(2)(x), from memory


class GroupedCheckboxes(forms.CheckboxSelectMultiple):
    """Check boxes in groups that open when they are needed: a long list must not bury the button below it."""

    template_name = "gear/grouped_checkboxes.html"

    def get_context(self, name: str, value: Any, attrs: Any) -> dict[str, Any]:
        context = super().get_context(name, value, attrs)
        groups = context["widget"]["optgroups"]
        context["widget"]["open_groups"] = [
            title for title, options, _place in groups if any(one["selected"] for one in options)
        ]
        return context


class PlaceOnDrawing(forms.CheckboxSelectMultiple):
    """Check boxes for the parts of a piece, beside its drawing. A script lets the drawing itself be tapped as well."""

    template_name = "gear/place_on_drawing.html"
    drawing: look_words.Drawn | None = None

    def get_context(self, name: str, value: Any, attrs: Any) -> dict[str, Any]:
        context = super().get_context(name, value, attrs)
        context["widget"]["drawing"] = self.drawing
        return context


class LookForm(ActForm):
    """The look before use: what follows, the words for what was found, and where."""

    outcome = choice_field(gettext_lazy("What follows?"), tuple(OUTCOMES.items()), radio=True)
    words = forms.MultipleChoiceField(
        label=gettext_lazy("What did you find?"), required=False, widget=GroupedCheckboxes
    )
    parts = forms.MultipleChoiceField(label=gettext_lazy("Where?"), required=False, widget=PlaceOnDrawing)
    side = choice_field(gettext_lazy("On which side?"), (), radio=True, required=False)
    note = text_field(gettext_lazy("Note"), most=LONGEST_REASON, required=False)

    def arrange(self) -> None:
        identity = self.setting.identity
        kind = identity.get("kind")
        self.fields["words"].choices = word_choices(kind)
        drawing = look_words.drawn(kind, hand=identity.get("hand"))
        if drawing is None:
            del self.fields["parts"]
        else:
            self.fields["parts"].choices = [(part.code, part.label) for part in drawing.parts]
            self.fields["parts"].widget.drawing = drawing
        if sides := places_on.sides_of(kind):
            words = [(side, look_words.SIDES[side]) for side in sides]
            self.fields["side"].choices = [("", gettext_lazy("not said")), *words]
        else:
            del self.fields["side"]
        self.add_day()

    def clean(self) -> dict[str, Any]:
        stated = super().clean() or {}
        parts, side = stated.get("parts") or [], stated.get("side") or ""
        if side and not parts and "parts" not in self.errors:
            self.add_error("parts", ValidationError(_("Say on which part as well, or choose no side.")))
        stated["place"] = places_on.place(self.setting.identity.get("kind"), parts, side=side)
        return stated


class ToolRoomLookForm(LookForm):
    """The look at the tool room. Where the piece is marked for cleaning, it asks whether it was cleaned."""

    cleaned = forms.BooleanField(
        label=gettext_lazy("It was cleaned just now"),
        required=False,
        help_text=gettext_lazy("Mild soap, rinsed, air-dried; rigid cover wiped; no petroleum cleaner."),
    )

    def arrange(self) -> None:
        super().arrange()
        self.fields["outcome"].widget.attrs["data-typed-first"] = ""  # the arrow keys choose, Enter records
        facts = self.setting.seen.facts
        if facts is None or not facts.needs_cleaning:
            del self.fields["cleaned"]


class RepairForm(ActForm):
    """What was done to a piece that is out for repair, and its length where it was cut shorter."""

    done = text_field(gettext_lazy("What was done?"), most=LONGEST_REASON)
    length_mm = number_field(
        gettext_lazy("New length, mm"),
        values.whole,
        required=False,
        help_text=gettext_lazy(
            "Only where it was cut shorter. Correct the length in its record as well: the test after repair is "
            "judged by what the record says."
        ),
    )

    def arrange(self) -> None:
        if self.setting.identity.get("kind") not in CUT_SHORTER:
            del self.fields["length_mm"]
        kind = self.setting.identity.get("kind")
        rule = self.setting.pack.kind_rule(kind) if self.setting.pack and kind else None
        if rule and rule.repair:
            self.fields["done"].help_text = _("By the rule pack: %s.") % rule.repair
        self.add_day()


def word_choices(kind: str | None) -> list[tuple[Any, list[tuple[str, Any]]]]:
    """Words for a kind under what they lead to, the worst last, as a choice field groups them."""
    return [
        (title, [(word, wording.DAMAGE[word]) for word in visual.words_for(kind, outcome=least)])
        for least, title in WORDS_THAT.items()
    ]
