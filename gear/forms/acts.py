"""Forms of the acts. Each asks only what its act needs; whether the act may be done the act itself decides."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from typing import Any

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gear import wording
from gear.forms.strict import NOT_CHOSEN, PlainForm, choice_field, day_field, sentence, text_field
from gear.models import HOLDER_NAMES, Holder, Item, User
from gear.queries import Seen, described, entry_words
from gear.queries.identified import meant_by
from gear.queries.picking import holders_for, witnesses_for
from gear.queries.questions import rules_today
from gear.rules import values
from gear.rules.entries import HOLDER_KINDS, USABLE_HOLDERS, VOIDING_EVENTS
from gear.rules.happenings import EVIDENCE
from gear.rules.packs import RulePack
from gear.rules.pairs import days_once_issued
from gear.rules.values import BadValue

LONGEST_REASON = 500
MOST_JUMPERS = 12


@dataclass(frozen=True)
class Setting:
    """What a form needs to know. `today` is the site's day; `narrow` the words that narrow a list of holders."""

    seen: Seen
    by: User
    today: date
    pack: RulePack | None = None
    narrow: str = ""

    @property
    def item(self) -> Item:
        assert self.seen.item is not None
        return self.seen.item

    @property
    def identity(self) -> dict[str, Any]:
        return self.seen.facts.identity if self.seen.facts else {}


class ActForm(PlainForm):
    """`id` is made with the form, so that sending it twice does the act once."""

    id = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, setting: Setting, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.setting = setting
        self.arrange()

    def arrange(self) -> None:
        """Add or change fields for this item and person."""

    def add_day(self) -> None:
        """When it happened, for what is told or typed later than it happened."""
        self.fields["happened_on"] = day_field(
            gettext_lazy("When did it happen?"),
            not_after=self.setting.today,
            required=False,
            help_text=gettext_lazy("Empty: just now."),
        )

    @property
    def happened_on(self) -> date | None:
        """The day given, None for now: today without a time would count from the end of the day."""
        day: date | None = self.cleaned_data.get("happened_on")
        return None if day == self.setting.today else day


def _reason(**choices: Any) -> forms.Field:
    return text_field(gettext_lazy("Why?"), most=LONGEST_REASON, **choices)


def _note(label: Any = None, **choices: Any) -> forms.Field:
    return text_field(label or gettext_lazy("Note"), most=LONGEST_REASON, **{"required": False, **choices})


class ReasonForm(ActForm):
    """Why, and when."""

    reason = _reason()

    def arrange(self) -> None:
        self.add_day()


class ReasonNowForm(ActForm):
    """Why. It happens now."""

    reason = _reason()


class OptionalReasonForm(ActForm):
    reason = _reason(required=False)


class OptionalNoteForm(ActForm):
    note = _note()


class NoteForm(ActForm):
    """A note is about a day."""

    text = text_field(gettext_lazy("Note"), most=LONGEST_REASON)

    def arrange(self) -> None:
        self.add_day()


class EventForm(ActForm):
    """What happened to the piece, out of what voids the test of its kind."""

    event = choice_field(gettext_lazy("What happened?"), (), radio=True)
    note = _note()

    def arrange(self) -> None:
        pack, kind = self.setting.pack, self.setting.identity.get("kind")
        rule = pack.kind_rule(kind) if pack and kind else None
        named = rule.voiding_events if rule else frozenset(VOIDING_EVENTS)
        self.fields["event"].choices = [
            (event, wording.EVENTS[event]) for event in VOIDING_EVENTS if event in named
        ]
        self.add_day()


class ReleaseForm(ActForm):
    """Which hold, and why it may end."""

    hold = choice_field(gettext_lazy("Which hold?"), (), radio=True)
    reason = _reason()
    evidence = False  # which holds it is for

    def arrange(self) -> None:
        facts = self.setting.seen.facts
        holds = [one for one in (facts.holds if facts else []) if (one.word == EVIDENCE) is self.evidence]
        self.fields["hold"].choices = [
            (one.entry, f"{wording.day(one.on)}: {one.reason or wording.EVENTS.get(one.word, one.word)}")
            for one in holds
        ]
        if len(holds) == 1:
            self.fields["hold"].initial = holds[0].entry


class FreeForm(ReleaseForm):
    """Which keeping as evidence ends, and why."""

    evidence = True


class DestroyForm(ActForm):
    """Who saw it, and that nobody can ever use it again."""

    witness = forms.ModelChoiceField(
        User.objects.none(),
        label=gettext_lazy("Who saw it?"),
        empty_label=NOT_CHOSEN[1],
        help_text=gettext_lazy("Another person than you."),
    )
    secret = forms.CharField(
        label=gettext_lazy("Password or PIN of the witness"),
        widget=forms.PasswordInput(attrs={"autocomplete": "off"}),
        strip=False,
        max_length=4096,
        help_text=gettext_lazy("The witness types it, not you."),
    )
    reason = _reason()
    confirmed = forms.BooleanField(
        label=gettext_lazy("It was cut up or broken so that nobody can ever use it again."),
        error_messages={
            "required": gettext_lazy("Tick this once the piece is destroyed. Until then it stays rejected.")
        },
    )

    def arrange(self) -> None:
        witness = self.fields["witness"]
        witness.queryset = witnesses_for(self.setting.by)
        witness.label_from_instance = lambda person: person.name


class HandOverForm(ActForm):
    """To whom or where, and which other pieces of its set go along."""

    kinds: frozenset[str] = frozenset(HOLDER_KINDS)
    to = choice_field(gettext_lazy("To whom or where?"), ())
    along = forms.MultipleChoiceField(
        label=gettext_lazy("Together with"), required=False, widget=forms.CheckboxSelectMultiple
    )

    def arrange(self) -> None:
        # What is not good today may go to a shelf, a bench or a lab only; a shelf is never refused.
        barred = self.setting.seen.answer.verdict != "good"
        kinds = self.kinds - USABLE_HOLDERS if barred else self.kinds
        self.holders = {str(one.pk): one for one in holders_for(kinds, words=self.setting.narrow)}
        self.fields["to"].choices = [NOT_CHOSEN, *holder_choices(self.holders)]
        self._arrange_mates()
        self.add_day()

    def _arrange_mates(self) -> None:
        facts, mates = self.setting.seen.facts, self.setting.seen.mates
        if not mates or facts is None:
            del self.fields["along"]
            return
        field = self.fields["along"]
        field.choices = [
            (mate.item_no, f"{mate.item_no} {described.heading(mate.identity)}") for _told, mate in mates
        ]
        field.initial = [mate.item_no for _told, mate in mates if mate.holder == facts.holder]

    @property
    def holder(self) -> Holder:
        return self.holders[self.cleaned_data["to"]]

    @property
    def items(self) -> list[Item]:
        """This item and the pieces that go along, in order of item number."""
        along = self.cleaned_data.get("along") or []
        return [self.setting.item, *Item.objects.filter(item_no__in=along).order_by("item_no")]


class IssueForm(HandOverForm):
    """Issued now, and never with few days left without a word: what is left once it is issued stands there."""

    kinds = USABLE_HOLDERS

    def arrange(self) -> None:
        super().arrange()
        seen, rules = self.setting.seen, rules_today()
        pieces = [facts for facts in (seen.facts, *(mate for _told, mate in seen.mates)) if facts]
        days = days_once_issued(pieces, rules, on=self.setting.today)
        if days is None:
            return
        told = {"days": days, "day": wording.day(self.setting.today + timedelta(days=days))}
        if days >= rules.policy.due_soon_days:
            self.fields["to"].help_text = _("Issued today, it is good through %(day)s: %(days)d days.") % told
            return
        self.fields["short"] = forms.BooleanField(
            label=_("Issued today, it gives %(days)d days only, through %(day)s.") % told,
            error_messages={"required": _("Few days are left. Tick this, or issue another one.")},
        )

    def add_day(self) -> None:
        """Issued now: whether it may be issued is judged by today's answer."""


def holder_choices(holders: dict[str, Holder]) -> list[tuple[Any, list[tuple[str, str]]]]:
    """Holders under their kinds, each with crew and depot, as a choice field groups them."""
    return [
        (HOLDER_NAMES[kind], [(pk, entry_words.holder_word(one.as_fact())) for pk, one in group])
        for kind, group in groupby(holders.items(), key=lambda pair: pair[1].kind)
    ]


def _set_no() -> forms.Field:
    return text_field(
        gettext_lazy("Number of the set"),
        most=40,
        required=False,
        help_text=gettext_lazy("Empty: the next free number."),
    )


class MateForm(ActForm):
    """The other hand, by what is printed or stamped on it."""

    other = text_field(
        gettext_lazy("The other hand"),
        most=300,
        help_text=gettext_lazy("Its item number, label code or serial, typed or scanned."),
    )
    set_no = _set_no()

    def clean_other(self) -> Item:
        return one_item(self.cleaned_data["other"])

    def clean_set_no(self) -> str:
        return set_number(self.cleaned_data["set_no"])


class FormSetForm(ActForm):
    """The other jumpers of a grounding set."""

    jumpers = forms.CharField(
        label=gettext_lazy("The other jumpers"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 4, "autocomplete": "off"}),
        help_text=gettext_lazy(
            "Item numbers or label codes, one a line. Leave it empty where this jumper is a set by itself."
        ),
    )
    set_no = _set_no()

    def clean_jumpers(self) -> list[Item]:
        typed = [one for one in re.split(r"[\r\n,;]+", self.cleaned_data["jumpers"]) if one.strip()]
        if len(typed) >= MOST_JUMPERS:
            raise ValidationError(_("A grounding set has at most %s jumpers.") % MOST_JUMPERS)
        found = {self.setting.item.pk: self.setting.item}
        for one in typed:
            item = one_item(one)
            if item.pk in found:
                raise ValidationError(_("%s stands here twice.") % item.item_no)
            found[item.pk] = item
        return list(found.values())

    def clean_set_no(self) -> str:
        return set_number(self.cleaned_data["set_no"])


def one_item(typed: str) -> Item:
    """The one item that somebody means. Raises ValidationError where none or several fit."""
    meant = meant_by(typed, base_url=settings.BASE_URL)
    if meant.item is not None:
        return meant.item
    shown = wording.visible(" ".join(typed.split())[:60])
    if meant.items:
        numbers = ", ".join(item.item_no for item in meant.items)
        raise ValidationError(_("%(typed)s is the serial of %(numbers)s. Give the item number.")
                              % {"typed": shown, "numbers": numbers})  # fmt: skip
    raise ValidationError(_("There is no item %s in the book.") % shown)


def set_number(typed: str | None) -> str:
    """A set number as typed, or nothing. Raises ValidationError for symbols that no number has."""
    try:
        return values.item_number("set_no", typed) if typed else ""
    except BadValue as error:
        raise ValidationError(sentence(error, label=_("Number of the set"))) from None
