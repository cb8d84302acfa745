"""The third scan at the counter: the old pair, where it goes, and what must be ticked first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import wording
from gear.actions.exchange import Exchange, old_pair_of
from gear.forms.acts import holder_choices, one_item
from gear.forms.strict import NOT_CHOSEN, PlainForm, choice_field, text_field
from gear.models import Holder, Item, User
from gear.queries import described
from gear.queries.picking import holders_for
from gear.rules.exchanging import Caution
from gear.rules.pairs import Pair

NOT_HERE, ONE_MORE = "-", "+"
CAUTIONS = {
    "KIND_DIFFERS": gettext_lazy("Another kind: {new}. The present one: {old}."),
    "CLASS_DIFFERS": gettext_lazy("ANOTHER CLASS: this pair is class {new}, the present one class {old}."),
    "SIZE_DIFFERS": gettext_lazy("Another size: this pair is size {new}, the present one size {old}."),
    "LENGTH_DIFFERS": gettext_lazy("Another length: this pair is {new} mm, the present one {old} mm."),
    "OLD_ELSEWHERE": gettext_lazy("The record says that {item} is with {holder}, not with this person."),
}


def caution_words(one: Caution) -> str:
    """What a caution says; a value that is not stated reads so."""
    if one.code == "FEW_DAYS":
        return _few_days(one)
    if one.code == "LEAVING":
        return _("This person leaves on %s.") % wording.day(one.values["day"])
    words = {name: _("not stated") if value in (None, "") else value for name, value in one.values.items()}
    return CAUTIONS[one.code].format(**words)


def _few_days(one: Caution) -> str:
    days, day = one.values["days"], one.values["good_through"]
    if days is None or day is None:
        return _("Nothing dates this pair, so nobody can say how many days it gives.")
    return _("It gives %(days)d days only, through %(day)s: less than the %(floor)d days of the site policy.") % {
        "days": days, "day": wording.day(day), "floor": one.values["floor"],
    }  # fmt: skip


class Ticked(forms.MultipleChoiceField):
    """What was ticked, whatever is offered now: the act decides which ticks it needed."""

    def valid_value(self, value: Any) -> bool:
        return True


class ExchangeForm(PlainForm):
    """`way` is the button: the old pair is here, is not here, or the pair replaces nothing."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    days = forms.IntegerField(widget=forms.HiddenInput, required=False)
    old = text_field(gettext_lazy("Old pair: scan either piece"), most=300, required=False)
    replaces = choice_field(
        gettext_lazy("If it is not here: which pair does the new one replace?"),
        (),
        radio=True,
        required=False,
    )
    shelf = choice_field(gettext_lazy("The old pair goes to"), (), required=False)
    confirm = Ticked(label=gettext_lazy("Read and tick"), required=False, widget=forms.CheckboxSelectMultiple)

    def __init__(
        self,
        *args: Any,
        by: User,
        likest: Sequence[Pair],
        cautions: Sequence[Caution] = (),
        lay_at: str = "",
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.likest = list(likest)
        shelves = holders_for(("shelf", "bench", "lab"))
        if by.depot:
            shelves = shelves.filter(depot=by.depot)
        self.shelves = {str(one.pk): one for one in shelves}
        self.fields["shelf"].choices = [NOT_CHOSEN, *holder_choices(self.shelves)]
        # Whoever hands a pair out stands where it lay.
        self.fields["shelf"].initial = next(
            (pk for pk, one in self.shelves.items() if one.name == lay_at), ""
        )
        self.warn(cautions)
        self._arrange_replaced()
        self._arrange_old()

    def warn(self, cautions: Sequence[Caution]) -> None:
        """Offer these to be ticked; without any there is nothing to tick."""
        self.cautions = tuple(cautions)
        self.fields["confirm"].choices = [(one.token, caution_words(one)) for one in cautions]
        if self.is_bound and cautions:  # what was scanned stands there already: tick, and Enter
            self.fields["confirm"].widget.attrs["data-typed-first"] = ""

    def _arrange_old(self) -> None:
        field = self.fields["old"]
        field.widget.attrs |= {"data-typed-first": "", "autocapitalize": "off"}
        field.help_text = (
            _("Not here: type - and Enter. One more pair that replaces nothing: type + and Enter.")
            if self.likest
            else _("No pair of this kind is recorded with this person: Enter issues the new one.")
        )

    def _arrange_replaced(self) -> None:
        if len(self.likest) < 2:
            del self.fields["replaces"]
            return
        field = self.fields["replaces"]
        field.choices = [(one.name, _present(one)) for one in self.likest]
        field.initial = self.likest[0].name

    @property
    def tickable(self) -> bool:
        return bool(self.cautions)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        typed = cleaned.get("old") or ""
        way = {NOT_HERE: "absent", ONE_MORE: "more"}.get(typed, self.data.get("way") or "here")
        self.old_pieces: tuple[Item, ...] = ()
        if way == "absent":
            self.old_pieces = self._absent()
        elif way == "here" and typed:
            self.old_pieces = self._scanned(typed)
        elif way == "here" and self.likest:
            self.add_error("old", _("Scan the old pair, or say that it is not here."))
        self.handed_over = way == "here" and bool(self.old_pieces)
        if self.handed_over and not cleaned.get("shelf"):
            self.add_error("shelf", _("Choose where the old pair goes."))
        return cleaned

    def _scanned(self, typed: str) -> tuple[Item, ...]:
        try:
            return old_pair_of(one_item(typed))
        except ValidationError as error:
            self.add_error("old", error)
            return ()

    def _absent(self) -> tuple[Item, ...]:
        """The pair that stays out: the one that is chosen, or the only one that it can be."""
        if not self.likest:
            self.add_error(
                "old", _("No pair of this kind is recorded with this person, so none can be missing.")
            )
            return ()
        chosen = self.cleaned_data.get("replaces") or self.likest[0].name
        pair = next((one for one in self.likest if one.name == chosen), self.likest[0])
        numbers = [one.item_no for one in pair.pieces]
        return tuple(Item.objects.filter(item_no__in=numbers).order_by("item_no"))

    def exchange(self, to: Holder, new: Item) -> Exchange:
        """What was asked for, once the form is valid."""
        stated = self.cleaned_data
        shelf = self.shelves.get(stated.get("shelf") or "") if self.handed_over else None
        return Exchange(to, new, self.old_pieces, shelf, stated["days"], frozenset(stated["confirm"]))


def _present(pair: Pair) -> str:
    day = wording.day(pair.good_through) if pair.good and pair.good_through else _("not good")
    return f"{pair.name}: {described.pair_heading(pair)}, {day}"
