"""Every act that has a page: its words, its form, and the action behind it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from gear.actions import condition, custody, destruction, looks, relabelling, sets
from gear.actions.acting import Act
from gear.forms import acts as forms
from gear.forms import looks as look_forms
from gear.forms.acts import ActForm, Setting


@dataclass(frozen=True)
class Verb:
    """`effect` says in one sentence what will happen; `stops` is true of acts that must leave the item not good."""

    title: str | Promise
    effect: str | Promise
    form: type[ActForm]
    do: Callable[[Any, Act], Any]
    stops: bool = False

    def blank(self, setting: Setting, **choices: Any) -> ActForm:
        return self.form(setting=setting, **choices)


def _reasoned(action: Callable[..., Any]) -> Callable[[ActForm, Act], Any]:
    return lambda form, act: action(form.setting.item, reason=form.cleaned_data.get("reason") or "", act=act)


def _noted(action: Callable[..., Any]) -> Callable[[ActForm, Act], Any]:
    return lambda form, act: action(form.setting.item, note=form.cleaned_data["note"] or "", act=act)


def _note(form: ActForm, act: Act) -> Any:
    return condition.note(form.setting.item, text=form.cleaned_data["text"], act=act)


def _event(form: ActForm, act: Act) -> Any:
    stated = form.cleaned_data
    return condition.report_event(
        form.setting.item, event=stated["event"], note=stated["note"] or "", act=act
    )


def _look(form: ActForm, act: Act) -> Any:
    stated = form.cleaned_data
    return looks.inspect_before_use(
        form.setting.item,
        outcome=stated["outcome"],
        words=stated["words"],
        place=stated["place"],
        note=stated["note"] or "",
        act=act,
    )


def _repair(form: ActForm, act: Act) -> Any:
    stated = form.cleaned_data
    return looks.record_repair(
        form.setting.item, done=stated["done"], length_mm=stated.get("length_mm"), act=act
    )


def _release(form: ActForm, act: Act) -> Any:
    stated = form.cleaned_data
    return condition.release(form.setting.item, hold_id=stated["hold"], reason=stated["reason"], act=act)


def _free(form: ActForm, act: Act) -> Any:
    stated = form.cleaned_data
    return condition.free_evidence(
        form.setting.item, hold_id=stated["hold"], reason=stated["reason"], act=act
    )


def _destroy(form: ActForm, act: Act) -> Any:
    stated = form.cleaned_data
    return destruction.destroy_batch(
        [form.setting.item],
        witness=stated["witness"],
        secret=stated["secret"],
        reason=stated["reason"],
        act=act,
    )


def _mate(form: ActForm, act: Act) -> Any:
    one, other = form.setting.item, form.cleaned_data["other"]
    return sets.mate(one, other, set_no=form.cleaned_data["set_no"], act=act)


def _form_set(form: ActForm, act: Act) -> Any:
    return sets.form_grounding_set(form.cleaned_data["jumpers"], set_no=form.cleaned_data["set_no"], act=act)


# In the order of need: what a worker does at the truck, then what the tool room does.
VERBS: dict[str, Verb] = {
    "inspect_before_use": Verb(
        _("Record the look before use"),
        _("Your look is recorded. Accepting moves no date; anything else takes the item out of use at once."),
        look_forms.LookForm,
        _look,
    ),
    "hold": Verb(
        _("Hold it"),
        _("Nobody may use it from now on. Only a supervisor, and not the one who held it, can release it."),
        forms.ReasonForm,
        _reasoned(condition.hold),
        stops=True,
    ),
    "reject": Verb(
        _("Reject it"),
        _("Nobody may ever use it again. That is final: it can only be destroyed."),
        forms.ReasonForm,
        _reasoned(condition.reject),
        stops=True,
    ),
    "report_event": Verb(
        _("Report an event"),
        _("Its test no longer counts: nobody may use it until it has passed a new one."),
        forms.EventForm,
        _event,
        stops=True,
    ),
    "report_lost": Verb(
        _("Report it lost"),
        _("It is lost until somebody finds it. It stays in every count of the book."),
        forms.ReasonForm,
        _reasoned(condition.report_lost),
        stops=True,
    ),
    "report_found": Verb(
        _("Report it found"),
        _("It goes on hold. It needs a new accepted test and the release of the hold before anybody uses it."),
        forms.OptionalNoteForm,
        _noted(condition.report_found),
        stops=True,
    ),
    "move": Verb(
        _("Move it"),
        _("The record will say who or what has it from then on. Its dates stay as they are."),
        forms.HandOverForm,
        lambda form, act: custody.move(form.items, to=form.holder, act=act),
    ),
    "issue": Verb(
        _("Issue it"),
        _("It goes into the hands that you choose. At its first issue its service period begins."),
        forms.IssueForm,
        lambda form, act: custody.issue(form.items, to=form.holder, act=act),
    ),
    "release": Verb(
        _("Release a hold"),
        _("This hold ends. Other holds and everything else against the item stay."),
        forms.ReleaseForm,
        _release,
    ),
    "keep_evidence": Verb(
        _("Keep it as evidence"),
        _(
            "It stays as it is: nobody may use, test, clean, repair, relabel, pair or destroy it. It may be moved to a "
            "safe place. Only another supervisor can end this."
        ),
        forms.ReasonNowForm,
        _reasoned(condition.keep_evidence),
        stops=True,
    ),
    "free_evidence": Verb(
        _("End keeping it as evidence"),
        _("It is evidence no longer. Other holds and everything else against the item stay."),
        forms.FreeForm,
        _free,
    ),
    "send_for_test": Verb(
        _("Call in for test"),
        _("Nobody may use it until a test of it is accepted."),
        forms.ReasonForm,
        _reasoned(condition.send_for_test),
        stops=True,
    ),
    "send_for_repair": Verb(
        _("Send for repair"),
        _("Nobody may use it until a test after the repair is accepted."),
        forms.ReasonForm,
        _reasoned(condition.send_for_repair),
        stops=True,
    ),
    "record_repair": Verb(
        _("Record its repair"),
        _(
            "What was done stands on its record. Nobody may use it until a test after the repair is accepted, and "
            "you cannot accept it yourself."
        ),
        look_forms.RepairForm,
        _repair,
        stops=True,
    ),
    "mark_needs_cleaning": Verb(
        _("Needs cleaning"),
        _("Nobody may use it until it was cleaned and looked at."),
        forms.ReasonForm,
        _reasoned(condition.mark_needs_cleaning),
        stops=True,
    ),
    "mark_cleaned": Verb(
        _("Cleaned and looked at"),
        _("You say that it was cleaned and that you accepted it by eye. Everything else against it stays."),
        forms.OptionalNoteForm,
        _noted(looks.mark_cleaned),
    ),
    "mate": Verb(
        _("Mate it"),
        _("The two become a pair. From then on each is good only while both are."),
        forms.MateForm,
        _mate,
    ),
    "form_set": Verb(
        _("Form a grounding set"),
        _("The jumpers become one set. From then on each is good only while all of them are there and good."),
        forms.FormSetForm,
        _form_set,
    ),
    "split": Verb(
        _("Split the set"),
        _("It leaves its set. A pair is then no pair any more; a grounding set stays and is one short."),
        forms.OptionalReasonForm,
        _reasoned(sets.split),
    ),
    "relabel": Verb(
        _("Replace its label"),
        _(
            "It gets a new label code. The old label is void for ever: whoever scans it is told to stop. To print "
            "the same label again, print it; this is for a label that was lost, copied or put on another piece."
        ),
        forms.ReasonNowForm,
        _reasoned(relabelling.relabel),
    ),
    "destroy": Verb(
        _("Record its destruction"),
        _("It is recorded as destroyed, for ever. Whoever scans its label is told to hand it in."),
        forms.DestroyForm,
        _destroy,
        stops=True,
    ),
    "note": Verb(
        _("Write a note"),
        _("The note is added to its record. It changes nothing else."),
        forms.NoteForm,
        _note,
    ),
}  # fmt: skip
