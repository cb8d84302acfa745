"""The acts a person may do to one item now, as links. The forms behind them are built elsewhere."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from gear import permissions
from gear.models import User
from gear.rules import transitions
from gear.rules.fold import ItemFacts
from gear.views.addresses import address_of

# In the order of need: what a worker does at the truck, then what the tool room does.
WORDS: dict[str, Promise] = {
    "inspect_before_use": _("Record the look before use"),
    "hold": _("Hold it"),
    "reject": _("Reject it"),
    "report_event": _("Report an event"),
    "report_lost": _("Report it lost"),
    "report_found": _("Report it found"),
    "move": _("Move it"),
    "issue": _("Issue it"),
    "release": _("Release a hold"),
    "send_for_test": _("Call in for test"),
    "send_for_repair": _("Send for repair"),
    "mark_needs_cleaning": _("Needs cleaning"),
    "mark_cleaned": _("Cleaned and looked at"),
    "mate": _("Mate it"),
    "split": _("Split the set"),
    "relabel": _("Give it a new label"),
    "destroy": _("Record its destruction"),
    "note": _("Write a note"),
}
AT_THE_TRUCK = ("inspect_before_use", "hold", "reject", "report_event")


@dataclass(frozen=True)
class ActLink:
    """One act: its verb, its words, where it is done."""

    verb: str
    words: str
    address: str


def acts_for(user: User, facts: ItemFacts, *, verbs: tuple[str, ...] = tuple(WORDS)) -> list[ActLink]:
    """Links to what the person's role and the item's condition allow; empty where the service has no such page."""
    return [
        ActLink(verb, str(WORDS[verb]), address)
        for verb in verbs
        if permissions.can(user, verb)
        and _is_open(verb, facts)
        and (address := address_of("act", facts.item_no, verb))
    ]


def _is_open(verb: str, facts: ItemFacts) -> bool:
    """Whether the condition lets the act be tried; the act itself judges again, with everything else it needs."""
    if verb == "split" and facts.set_no is None or verb == "mate" and facts.set_no is not None:
        return False
    if verb == "release":
        return bool(facts.holds)
    change = "inspect" if verb == "inspect_before_use" else verb
    return transitions.refusal(change, facts, verdict="good") is None
