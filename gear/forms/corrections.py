"""Forms that say what an entry should have said, kind by kind, or that it should never have been made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from gear import wording
from gear.forms.acts import LONGEST_REASON, holder_choices
from gear.forms.looks import OUTCOMES, GroupedCheckboxes, word_choices
from gear.forms.receiving import LABELS, MARKS, OWN, field_of
from gear.forms.strict import NOT_CHOSEN, PlainForm, choice_field, day_field, problem_sentence, text_field
from gear.models import Entry, Holder
from gear.queries.picking import holders_for, serial_taken
from gear.rules import visual
from gear.rules.entries import HOLDER_KINDS, VOIDING_EVENTS, Line
from gear.rules.gearbook import GearRow, parse_row
from gear.rules.tables import Row

CHANGE, WITHDRAW = "change", "withdraw"
WAYS = {
    CHANGE: _("Change what it says"),
    WITHDRAW: _("Withdraw it: it should never have been made"),
}
CUSTODY = ("issued", "moved", "returned")
REASONED = ("held", "rejected", "lost", "needs_cleaning", "sent_for_test", "sent_for_repair", "released")
# Entries whose content has a page of its own, or that can only be withdrawn.
WITHDRAWN_ONLY = ("tested",)


@dataclass(frozen=True)
class Corrected:
    """The entry, what counts of it now (None: it was withdrawn), the kind of gear, and the site's day."""

    entry: Entry
    counts: Line | None
    kind: str | None
    today: date

    @property
    def facts(self) -> Mapping[str, Any]:
        """What the form starts from: what counts now, or what the entry said before it was withdrawn."""
        return self.counts.facts if self.counts else self.entry.facts

    @property
    def day(self) -> date:
        return self.counts.occurred_on if self.counts else self.entry.occurred_on


class CorrectionForm(PlainForm):
    """Change or withdraw, and why. The fields of a kind are added by `arrange`."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    way = choice_field(_("What should become of it?"), tuple(WAYS.items()), radio=True)
    why = text_field(
        _("Why is it corrected?"),
        most=LONGEST_REASON,
        help_text=_("It stands beside the correction for ever."),
    )

    def __init__(
        self, *args: Any, corrected: Corrected, initial: Mapping[str, Any] | None = None, **kwargs: Any
    ):
        super().__init__(*args, initial={**self.first_values(corrected), **(initial or {})}, **kwargs)
        self.corrected = corrected
        self.fields["happened_on"] = day_field(_("It happened on"), not_after=corrected.today)
        self.arrange(corrected)
        self.order_fields(["id", "way", *self.own_fields(), "why"])
        if corrected.counts is None:
            self.fields["way"].choices = [(CHANGE, _("Make it count again, as stated here"))]  # type: ignore[attr-defined]

    @staticmethod
    def first_values(corrected: Corrected) -> dict[str, Any]:
        """What counts now, field by field."""
        facts = corrected.facts
        stated = {name: facts.get(name) for name in ("event", "outcome", "words", "note", "reason")}
        return {"way": CHANGE, "happened_on": corrected.day.isoformat(), **stated}

    def arrange(self, corrected: Corrected) -> None:
        """Add the fields of the kind of entry."""

    def own_fields(self) -> list[str]:
        """The fields that say what the entry should have said."""
        return [name for name in self.fields if name not in ("id", "way", "why")]

    def add_error(self, field: Any, error: Any) -> None:
        """Who withdraws an entry need not fill in what it should have said."""
        if self.data.get("way") == WITHDRAW and field in self.own_fields():
            return
        super().add_error(field, error)

    @property
    def withdraws(self) -> bool:
        return self.cleaned_data["way"] == WITHDRAW

    def stated(self) -> dict[str, Any]:
        """The facts as they should have been; what the form does not ask for stays."""
        return dict(self.corrected.facts)

    def _with(self, **changes: Any) -> dict[str, Any]:
        merged = {**self.corrected.facts, **changes}
        return {name: value for name, value in merged.items() if value not in (None, "", [])}


class WithdrawForm(CorrectionForm):
    """An entry that can only be withdrawn here."""

    def arrange(self, corrected: Corrected) -> None:
        del self.fields["happened_on"]
        self.fields["way"].choices = [(WITHDRAW, WAYS[WITHDRAW])]  # type: ignore[attr-defined]
        self.initial["way"] = WITHDRAW


class CustodyForm(CorrectionForm):
    def arrange(self, corrected: Corrected) -> None:
        stated = corrected.facts["holder"]
        found = {str(one.pk): one for one in holders_for(HOLDER_KINDS)}
        now = (
            Holder.objects.filter(kind=stated["kind"], name=stated["name"])
            .select_related("crew", "depot")
            .first()
        )
        if now is not None:
            found = {**found, str(now.pk): now}
            self.initial["to"] = str(now.pk)
        self.holders = dict(sorted(found.items(), key=lambda pair: HOLDER_KINDS.index(pair[1].kind)))
        self.fields["to"] = choice_field(_("To whom or where"), [NOT_CHOSEN, *holder_choices(self.holders)])

    def stated(self) -> dict[str, Any]:
        holder = self.holders[self.cleaned_data["to"]]
        same = (holder.kind, holder.name) == tuple(
            self.corrected.facts["holder"][one] for one in ("kind", "name")
        )
        changes = {} if same else {"holder": holder.as_fact()}
        if self.cleaned_data["happened_on"] != self.corrected.day:
            changes["first_issue_known"] = None  # whoever states the day knows it
        return self._with(**changes) if changes else dict(self.corrected.facts)


class EventForm(CorrectionForm):
    def arrange(self, corrected: Corrected) -> None:
        words = [(event, wording.EVENTS[event]) for event in VOIDING_EVENTS]
        self.fields["event"] = choice_field(_("What happened"), words, radio=True)
        self.fields["note"] = text_field(_("Note"), most=LONGEST_REASON, required=False)

    def stated(self) -> dict[str, Any]:
        return self._with(event=self.cleaned_data["event"], note=self.cleaned_data["note"])


class ReasonForm(CorrectionForm):
    def arrange(self, corrected: Corrected) -> None:
        self.fields["reason"] = text_field(_("The reason, as it should have read"), most=LONGEST_REASON)

    def stated(self) -> dict[str, Any]:
        return self._with(reason=self.cleaned_data["reason"])


class NoteForm(CorrectionForm):
    def arrange(self, corrected: Corrected) -> None:
        needed = corrected.entry.kind == "noted"
        self.fields["note"] = text_field(_("Note"), most=LONGEST_REASON, required=needed)

    def stated(self) -> dict[str, Any]:
        return self._with(note=self.cleaned_data["note"])


class LookForm(CorrectionForm):
    def arrange(self, corrected: Corrected) -> None:
        self.fields["outcome"] = choice_field(_("What followed"), tuple(OUTCOMES.items()), radio=True)
        self.fields["words"] = forms.MultipleChoiceField(
            label=_("What was found"),
            required=False,
            widget=GroupedCheckboxes,
            choices=word_choices(corrected.kind),
        )
        self.fields["note"] = text_field(_("Note"), most=LONGEST_REASON, required=False)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        code = visual.refusal(
            cleaned.get("outcome", ""), cleaned.get("words") or (), kind=self.corrected.kind
        )
        if code == "OUTCOME_TOO_MILD":
            self.add_error("outcome", _("One of the words asks for more than this. Choose what it asks for."))
        return cleaned

    def stated(self) -> dict[str, Any]:
        return self._with(**{name: self.cleaned_data[name] for name in ("outcome", "words", "note")})


class ReceivedForm(CorrectionForm):
    """What the item is. Its number stays: it stands on its label and in every entry."""

    row: GearRow | None = None

    @staticmethod
    def first_values(corrected: Corrected) -> dict[str, Any]:
        identity = {name: value for name, value in corrected.facts["identity"].items() if value is not None}
        return {"way": CHANGE, "happened_on": corrected.day.isoformat(), **identity}

    def arrange(self, corrected: Corrected) -> None:
        kind = corrected.kind or ""
        self.fields["kind"] = forms.CharField(widget=forms.HiddenInput, initial=kind, required=False)
        self.initial["kind"] = kind
        for name in (*OWN.get(kind, ()), *MARKS):
            self.fields[name] = field_of(name, kind, required=False)
        self.fields["happened_on"].label = LABELS["received_on"]

    def clean(self) -> dict[str, Any]:
        """Read by the rules of the gear book, as it was when it was received."""
        cleaned = super().clean() or {}
        if self.data.get("way") == WITHDRAW:
            return cleaned
        holder, item, kind = (
            self.corrected.facts["holder"],
            self.corrected.entry.item,
            self.corrected.kind or "",
        )
        assert item is not None
        cells = {name: str(cleaned.get(name) or "") for name in (*OWN.get(kind, ()), *MARKS)}
        cells |= {
            "item_no": item.item_no,
            "kind": kind,
            "holder": holder["name"],
            "holder_kind": holder["kind"],
        }
        if cleaned.get("happened_on") and self.corrected.facts.get("date_stated", True):
            cells["received_on"] = cleaned["happened_on"].isoformat()
        self.row, problems = parse_row(
            Row(0, {name: cell for name, cell in cells.items() if cell}), today=self.corrected.today
        )
        for problem in problems:
            name = str(problem.values.get("field", ""))
            told = problem_sentence(problem, label=LABELS.get(name, name))
            field = "happened_on" if name == "received_on" else name
            self.add_error(field if field in self.fields else None, told)
        if self.row is not None and (other := serial_taken(self.row, but=item)):
            told = _("The serial %(serial)s of this maker and hand belongs to %(other)s already.")
            self.add_error("serial", told % {"serial": self.row.serial, "other": other})
        return cleaned

    def stated(self) -> dict[str, Any]:
        assert self.row is not None
        changes: dict[str, Any] = {"identity": self.row.identity}
        if self.cleaned_data["happened_on"] != self.corrected.day:
            changes["date_stated"] = True
        return {**self.corrected.facts, **changes}


def form_for(entry: Entry) -> type[CorrectionForm] | None:
    """The form for a kind of entry; None where such an entry is not corrected on this page."""
    if entry.kind in CUSTODY:
        return CustodyForm
    if entry.kind in REASONED:
        return ReasonForm
    return {
        "received": ReceivedForm,
        "event": EventForm,
        "inspected": LookForm,
        "noted": NoteForm,
        "found": NoteForm,
        "tested": WithdrawForm,
    }.get(entry.kind)
