"""What every act has in common: who may, what the item is like now, and that a refusal is kept."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from uuid import UUID, uuid4

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from gear import permissions
from gear.ledger import Draft, IdReused, LedgerError, append, join_writers, record
from gear.models import Entry, GivenAnswer, Item, ItemState, Refusal, User
from gear.rules import fold, transitions
from gear.rules.entries import UNREADABLE, BadFacts

WORDS = {
    "DESTROYED_IS_FINAL": _("This item was destroyed. Nothing can be done to it any more; hand it in."),
    "NOT_FROM_OK": _("This item is not rejected. Only a rejected item can be destroyed: reject it first."),
    "NOT_FROM_HELD": _("This item is on hold. Release the hold first."),
    "NOT_FROM_NEEDS_CLEANING": _("This item needs cleaning first."),
    "NOT_FROM_OUT_FOR_TEST": _("This item is out for test. It comes back by an accepted test."),
    "NOT_FROM_OUT_FOR_REPAIR": _(
        "This item is out for repair. It comes back by an accepted test after repair."
    ),
    "NOT_FROM_REJECTED": _("This item is rejected. That is final; it can only be destroyed."),
    "NOT_FROM_LOST": _("This item is reported lost. Report it found first."),
    "NOT_DIRTY": _("This item is not marked for cleaning."),
    "NOT_LOST": _("This item is not reported lost."),
    "NO_SUCH_HOLD": _("There is no such hold on this item, or it was released already."),
    "KEPT_AS_EVIDENCE": _(
        "This item is kept as evidence: nobody may test, clean, repair, relabel, pair, issue or destroy it. Write a "
        "note, or move it to a safe place. Only a second supervisor ends it."
    ),
    "EVIDENCE_STANDS": _("That it is kept as evidence is not corrected. A second supervisor ends it."),
    "NOT_KEPT": _("This item is not kept as evidence."),
    "REPAIR_NOT_ALLOWED": _("The rule pack in force does not allow this kind of item to be repaired."),
    "NOT_GOOD": _(
        "This item is not good today, so it cannot go to anyone's hands. Take it to a shelf, a bench or "
        "a lab."
    ),
    "NOT_OUT_FOR_REPAIR": _("This item is not out for repair. Send it for repair first."),
    "OWN_REPAIR": _("Whoever recorded its repair cannot accept it. Another person must."),
    "NOT_CLEANED": _("It is marked for cleaning. Clean it, say so, and then accept it."),
    "QUALIFICATION_EXPIRED": _(
        "Your qualification to accept by eye is not valid on this day. You may clean, send for test or reject; "
        "another inspector must accept it."
    ),
    "PLACE_NOT_OF_KIND": _("This kind of item has no such place. Choose on its drawing."),
    "LINE_NOT_OF_KIND": _("One of these lines is not looked through on this kind of item. Update the phone."),
    "NOTHING_OPEN": _("Somebody looked into this already. Nothing is open for this piece."),
    "OWN_HOLD": _("Whoever put the hold on cannot release it. Ask another supervisor."),
    "OWN_WITNESS": _("The witness must be another person than the one who destroys the item."),
    "NO_WITNESS": _("Name a witness: another person who is on the list of people."),
    "SECOND_PERSON": _(
        "This correction makes the answer better, so another person than the one who made the entry "
        "must enter it."
    ),
    "NO_REASON": _("Give a reason in a few words."),
    "NOTHING_CHANGES": _("This correction changes nothing. Change a value or withdraw the entry."),
    "NOT_CORRECTABLE": _("An entry of this kind cannot be corrected here. Correct the original entry."),
    "PAIR_NEEDS_BOTH_HANDS": _("A pair is a left and a right of one kind, class, type, size and length."),
    "ALREADY_IN_SET": _("This item already belongs to a set. Split that set first."),
    "NOT_IN_SET": _("This item belongs to no set."),
    "SET_NUMBER_TAKEN": _("This set number was used before. Leave it empty, and the next free one is taken."),
    "SET_KIND": _("Only grounding jumpers belong in a grounding set."),
    "OWN_BATCH": _("Whoever held these pieces cannot release them. Ask another supervisor."),
    "NOTHING_TO_HOLD": _(
        "There is nothing to hold. Widen what you ask for, or look the pieces up one by one."
    ),
    "NOTHING_HELD": _("No hold of this batch is left to release."),
    "SAME_PLACE": _("The item is already there."),
    "NOT_A_PAIR": _("Only gloves and sleeves are handed out as pairs. Use its own page to issue it."),
    "PAIR_NOT_COMPLETE": _(
        "This is not a complete pair: a left and a right that are mated. Take another pair."
    ),
    "PAIR_IN_HANDS": _("The record says that somebody has this pair. Take it back to a shelf first."),
    "PAIR_APART": _("The two pieces lie in different places. Bring them together first."),
    "PAIR_OF_ITSELF": _("This is the new pair. Scan the old one."),
    "NOT_A_PERSON": _("A pair goes to a person who is in use as a holder of gear."),
    "OLD_TO_SHELF": _("Choose the shelf, the bench or the lab that the old pair goes to."),
    "OLD_NOT_THEIRS": _(
        "The record says that this person does not have the old pair. Scan it, or leave it out."
    ),
    "UNCONFIRMED": _("Read what is said about this pair and tick it, or take another pair."),
    "DAYS_CHANGED": _("What this pair gives has changed since it was shown. Look at it again."),
    "LIST_CHANGED": _("What is there has changed since it was shown. Look at the list again."),
    "NOTHING_TO_MOVE": _("There is nothing that could be moved."),
    "ASIDE_IS_IN_HANDS": _("What is not good can only go to a shelf, a bench or a lab."),
    "WORD_NOT_OF_KIND": _("One of these words is not said of this kind of item. Choose from the list."),
    "OUTCOME_UNKNOWN": _("Say what follows: accept, clean, test or reject."),
    "OUTCOME_TOO_MILD": _(
        "One of these words asks for more: a listed defect is a rejection, a doubt needs a test, dirt needs "
        "cleaning. Choose that outcome, or take the word away."
    ),
}


class Refused(Exception):
    """An act that may not be done to this item now. `code` is stable; the message says what to do."""

    def __init__(self, code: str):
        super().__init__(str(WORDS[code]))
        self.code = code


# Everything that refuses an act; each message is fit for the person who tried. IdReused is a LedgerError.
REFUSALS = (Refused, permissions.NotAllowed, LedgerError, BadFacts)


@dataclass(frozen=True)
class Act:
    """Who does something, how, and when it really happened; the id is the client's when it made one."""

    by: User | None
    via: str = "web"
    device: str = ""
    occurred_at: datetime | None = None
    occurred_on: date | None = None
    id: UUID = field(default_factory=uuid4)


@contextmanager
def keeping_refusals(name: str, subject: str, act: Act) -> Iterator[None]:
    """Store what was refused, and why, after everything else was rolled back."""
    try:
        with transaction.atomic():
            join_writers()  # before any row is locked
            yield
    except REFUSALS as error:
        code = getattr(error, "code", type(error).__name__)
        keep_refusal(name, subject, act, code=code, detail=str(error))
        if code == "DESTROYED_IS_FINAL" and act.by is not None:
            _keep_that_it_turned_up(subject, act)
        raise


def keep_refusal(name: str, subject: str, act: Act, *, code: str, detail: str) -> None:
    """Append one refusal to the record."""
    append(
        Refusal(
            by=act.by,
            via=act.via,
            act=name[:40],
            subject=subject[:80],
            code=code[:40],
            detail=detail[:2000],
        )
    )


def _keep_that_it_turned_up(subject: str, act: Act) -> None:
    """Whoever tries something on a scrapped piece has it before them: that is kept like a scan of its label."""
    named = Item.objects.filter(item_no__in=subject.split(", ")[:200], state__condition="destroyed")
    for item in named.order_by("pk"):
        told = {"verdict": "stop", "reasons": ["DESTROYED"], "device": act.device[:80]}
        append(GivenAnswer(by=act.by, item=item, code=item.item_no, **told))


def facts_now(item: Item) -> fold.ItemFacts:
    """The facts of an item, its state locked until the act is done. Raises LedgerError where they cannot be read."""
    try:
        return fold.from_json(ItemState.objects.select_for_update().get(item=item).facts)
    except (ItemState.DoesNotExist, *UNREADABLE) as error:
        raise LedgerError(
            _("The record of this item cannot be read. Have the administrator run verify_ledger.")
        ) from error


def many_facts_now(items: Iterable[Item]) -> dict[int, fold.ItemFacts]:
    """The facts of many items by their keys, all locked in one order. Raises LedgerError where they cannot be read."""
    wanted = {item.pk for item in items}
    states = ItemState.objects.select_for_update().filter(pk__in=wanted).order_by("pk")
    try:
        found = {state.pk: fold.from_json(state.facts) for state in states}
    except UNREADABLE:
        found = {}
    if set(found) != wanted:
        raise LedgerError(
            _("The record of an item cannot be read. Have the administrator run verify_ledger.")
        )
    return found


def check(name: str, item: Item, act: Act, **guards) -> fold.ItemFacts:
    """Raise NotAllowed or Refused unless the person may do `name` to the item now; returns its facts."""
    permissions.check_can(act.by, "inspect_before_use" if name == "inspect" else name)
    facts = facts_now(item)
    permissions.check_scope(act.by, depot_of(facts), act=name)
    if code := transitions.refusal(name, facts, **guards):
        raise Refused(code)
    return facts


def depot_of(facts: fold.ItemFacts) -> str | None:
    """The depot where the item is now, by name."""
    return (facts.holder or {}).get("depot")


def enter(item: Item, kind: str, facts: dict, act: Act, *, corrects: Entry | None = None) -> Entry:
    """Record one entry of an act."""
    return record(
        Draft(
            item,
            kind,
            {name: value for name, value in facts.items() if value is not None},
            act.occurred_at,
            act.occurred_on,
            corrects,
            act.id,
        ),
        by=act.by,
        via=act.via,
        device=act.device,
    )


def reason_in(text: str) -> str:
    """The reason as given, trimmed. Raises Refused when there is none."""
    text = " ".join((text or "").split())
    if not text:
        raise Refused("NO_REASON")
    return text[:500]


__all__ = [
    "WORDS",
    "Act",
    "IdReused",
    "LedgerError",
    "Refused",
    "check",
    "enter",
    "facts_now",
    "keep_refusal",
    "keeping_refusals",
    "many_facts_now",
    "reason_in",
]
