"""What to print labels of, and on what."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any
from uuid import UUID

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import labels, wording
from gear.forms.acts import holder_choices
from gear.forms.strict import NOT_CHOSEN, PlainForm, choice_field, text_field
from gear.models import User
from gear.queries import labelling
from gear.queries.picking import holders_for
from gear.rules.entries import HOLDER_KINDS
from gear.rules.stock import LARGEST_SHIFT, STOCKS

MOST_NAMED = 300
WHICH = (
    ("items", gettext_lazy("Items I name")),
    ("set", gettext_lazy("The pieces of a set")),
    ("batch", gettext_lazy("Everything of a batch received")),
    ("holder", gettext_lazy("Everything at one place")),
    ("never", gettext_lazy("Everything never printed")),
)
STARTS = max(stock.per_page for stock in STOCKS.values())


class ChooseForm(PlainForm):
    """Sent by GET: an address names what is to be printed, so another page can lead here."""

    which = choice_field(gettext_lazy("Labels of what?"), WHICH, radio=True)
    items = forms.CharField(
        label=gettext_lazy("Items"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 4, "autocomplete": "off"}),
        help_text=gettext_lazy("Item numbers, label codes or serials, typed or scanned, one a line."),
    )
    set_no = text_field(gettext_lazy("Set"), most=40, required=False)
    batch = choice_field(gettext_lazy("Batch"), (), required=False)
    holder = choice_field(gettext_lazy("Place"), (), required=False)
    stock = choice_field(gettext_lazy("Label stock"), tuple(labels.NAMES.items()))
    dates = choice_field(
        gettext_lazy("Dates"),
        (
            ("on", gettext_lazy("On: on what is issued and good")),
            ("off", gettext_lazy("Off: no label bears a date")),
        ),
    )
    copies = forms.IntegerField(
        label=gettext_lazy("Copies of each"),
        min_value=1,
        max_value=10,
        widget=forms.TextInput({"inputmode": "numeric", "class": "short"}),
    )
    start = forms.IntegerField(
        label=gettext_lazy("First free position on the sheet"),
        min_value=1,
        max_value=STARTS,
        widget=forms.TextInput({"inputmode": "numeric", "class": "short"}),
        help_text=gettext_lazy("1 is the upper left one, then row by row."),
    )
    shift_x = forms.DecimalField(
        label=gettext_lazy("Move right, mm"), required=False, max_digits=3, decimal_places=1,
        widget=forms.TextInput({"inputmode": "decimal", "class": "short"}),
        help_text=gettext_lazy("What the test strip told of this printer; left is negative."),
    )  # fmt: skip
    shift_y = forms.DecimalField(
        label=gettext_lazy("Move down, mm"), required=False, max_digits=3, decimal_places=1,
        widget=forms.TextInput({"inputmode": "decimal", "class": "short"}),
        help_text=gettext_lazy("Up is negative."),
    )  # fmt: skip

    FIRST = {"which": "items", "stock": "letter_30", "dates": "on", "copies": 1, "start": 1}

    def __init__(self, *args: Any, by: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.by = by
        self.fields["batch"].choices = [NOT_CHOSEN, *map(_batch_choice, labelling.recent_batches())]
        self.fields["holder"].choices = [
            NOT_CHOSEN,
            *holder_choices({str(one.pk): one for one in holders_for(HOLDER_KINDS)}),
        ]
        self._allow_older_batch()

    def _allow_older_batch(self) -> None:
        """A batch that is named by the address is offered though it is not among the newest."""
        given = str(self.data.get("batch") or "")
        field = self.fields["batch"]
        if given and given not in dict(field.choices):
            try:
                older = labelling.batch_of(UUID(given))
            except ValueError:
                return
            if older:
                field.choices = [*field.choices, _batch_choice(older)]

    def clean_shift_x(self) -> int:
        return _tenths(self.cleaned_data["shift_x"])

    def clean_shift_y(self) -> int:
        return _tenths(self.cleaned_data["shift_y"])

    def clean(self) -> dict[str, Any]:
        stated = super().clean() or {}
        stock, start = STOCKS.get(stated.get("stock", "")), stated.get("start")
        if stock is None or start is None:
            return stated
        if not stock.is_sheet:
            stated["start"] = 1
        if trouble := labels.trouble_with(stock, base_url=settings.BASE_URL):
            self.add_error("stock", trouble)
        elif not self.errors:
            stated["item_nos"] = self._chosen(stated)
        return stated

    def _chosen(self, stated: dict[str, Any]) -> list[str]:
        """The item numbers meant, in order; a field at fault is told."""
        which = stated["which"]
        if which == "items":
            return self._named(stated["items"])
        if which == "never":
            return list(labelling.never_printed(self.by.depot).values_list("item_no", flat=True)[:MOST_NAMED])
        field = {"set": "set_no"}.get(which, which)
        if not stated.get(field):
            self.add_error(field, _("Say which."))
            return []
        if which == "batch":
            batch = labelling.batch_of(UUID(stated["batch"]))
            return list(batch.item_nos) if batch else []
        if which == "holder":
            return labelling.at_holder(int(stated["holder"]))
        found = labelling.of_set(stated["set_no"])
        if found is None:
            self.add_error("set_no", _("There is no set %s in the book.") % wording.visible(stated["set_no"]))
        return found or []

    def _named(self, typed: str) -> list[str]:
        texts = [one for one in re.split(r"[\r\n,;]+", typed) if one.strip()]
        if not texts:
            self.add_error("items", _("Name at least one item."))
        if len(texts) > MOST_NAMED:
            self.add_error("items", _("Name at most %s items at a time.") % MOST_NAMED)
            return []
        found = labelling.named(texts, base_url=settings.BASE_URL, most=MOST_NAMED)
        if found.unknown:
            shown = ", ".join(wording.visible(one[:60]) for one in found.unknown[:10])
            self.add_error("items", _("Not one item each: %s. Give the item number.") % shown)
        return list(found.item_nos)


def _batch_choice(batch: labelling.Batch) -> tuple[str, str]:
    if not batch.item_nos:
        return str(batch.id), str(batch.id)
    words = _("%(day)s: %(count)s pieces, %(first)s to %(last)s") % {
        "day": wording.day(localtime(batch.at).date()),
        "count": len(batch.item_nos),
        "first": batch.item_nos[0],
        "last": batch.item_nos[-1],
    }
    return str(batch.id), words


def _tenths(given: Decimal | None) -> int:
    tenths = int((given or Decimal(0)) * 10)
    if abs(tenths) > LARGEST_SHIFT:
        raise ValidationError(
            _("At most %s mm either way. Is the right stock in the tray?") % (LARGEST_SHIFT // 10)
        )
    return tenths


class PrintForm(ChooseForm):
    """The same, sent to be printed: `id` is made with the page, so that sending it twice prints once."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    reason = text_field(
        gettext_lazy("Why again?"),
        most=500,
        required=False,
        help_text=gettext_lazy("Worn, lost, misprinted, a second one for the bag."),
    )
