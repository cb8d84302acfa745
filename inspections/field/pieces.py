"""What somebody says of the piece before them: all right, damaged, something happened to it, lost, found."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID, uuid5

from django.utils.translation import gettext as _

from gear.actions import condition, looks
from gear.actions.acting import Act, Refused
from gear.models import Item, ItemState
from gear.permissions import NotAllowed
from gear.rules import places_on, visual
from gear.rules.entries import VERDICTS, VOIDING_EVENTS
from inspections.field.kinds import BadRecord, Sent, text, words
from inspections.rules.pieces import events_of

OTHER_HAND = (
    "other piece"  # one check of a pair is two entries: the second has an id that follows from the first
)


def checked(sent: Sent, act: Act) -> dict[str, Any]:
    """`checklist`: the lines that were gone through; `also`: the number of the other piece of the pair, if both were.

    The other piece is left out where it is not in the same set any more: what was seen of this one is kept. `outcome`
    is "accept"; with any other this is a report of damage.
    """
    if sent.body.get("outcome", "accept") != "accept":
        return damage(sent, act)
    item, lines = _item(sent), words(sent.body, "checklist")
    entry = looks.inspect_before_use(
        item, outcome="accept", checklist=lines, told=told_of(sent), note=text(sent.body, "note"), act=act
    )
    done = {"item": item.item_no, "entry": str(entry.pk), "also": ""}
    other = _mate(item, text(sent.body, "also", most=40))
    if other is not None:
        beside = Act(act.by, act.via, act.device, act.occurred_at, act.occurred_on, second_id(sent.id))
        looks.inspect_before_use(other, outcome="accept", checklist=lines, act=beside)
        done["also"] = other.item_no
    return done


def second_id(record: UUID) -> UUID:
    """The id of the entry about the other piece that a record speaks of."""
    return uuid5(record, OTHER_HAND)


def damage(sent: Sent, act: Act) -> dict[str, Any]:
    """`words` of gear.rules.visual, `place` of gear.rules.places_on, `note`. What follows comes from the words.

    A report that this program cannot read word for word still takes the piece out of use, as a hold with what it said:
    an older phone must not be the reason why a cut glove stays in use.
    """
    item, said = _item(sent), words(sent.body, "words")
    place, note = text(sent.body, "place", most=200), text(sent.body, "note")
    kind = item.item_type.kind
    if not said or not set(said) <= set(visual.words_for(kind)) or not _is_place(kind, place):
        told = "; ".join(filter(None, [", ".join(said), place, note])) or _("nothing more was said")
        entry = condition.hold(item, reason=_("Reported damaged: %s") % told, act=act)
        return {"item": item.item_no, "entry": str(entry.pk), "outcome": "hold"}
    outcome = visual.least_outcome(said)
    entry = looks.inspect_before_use(
        item, outcome=outcome, words=said, place=place, note=note, told=told_of(sent), act=act
    )
    return {"item": item.item_no, "entry": str(entry.pk), "outcome": outcome}


def event(sent: Sent, act: Act) -> dict[str, Any]:
    """`event`: one of entries.VOIDING_EVENTS that happens to this kind, `note`. A repair is recorded by a clerk."""
    item, happened, note = _item(sent), text(sent.body, "event", most=40), text(sent.body, "note")
    if happened not in VOIDING_EVENTS:
        raise BadRecord(f"event must be one of {', '.join(VOIDING_EVENTS)}.")
    if happened not in events_of(item.item_type.kind):
        happened, note = "suspect", f"{happened}. {note}".strip()
    if happened == "repaired":
        _check_repair(act, note)
    entry = condition.report_event(item, event=happened, note=note, told=told_of(sent), act=act)
    return {"item": item.item_no, "entry": str(entry.pk), "event": happened}


def _check_repair(act: Act, note: str) -> None:
    if act.by is not None and act.by.role != "clerk":
        raise NotAllowed(_("A repair is recorded by the tool-room clerk."))
    if not note:
        raise Refused("NO_REASON")


def lost(sent: Sent, act: Act) -> dict[str, Any]:
    """`note`: where and when it was last seen, if known."""
    item = _item(sent)
    reason = text(sent.body, "note") or _("reported from the truck")
    return {"item": item.item_no, "entry": str(condition.report_lost(item, reason=reason, act=act).pk)}


def found(sent: Sent, act: Act) -> dict[str, Any]:
    """`note`: where it was."""
    item = _item(sent)
    entry = condition.report_found(item, note=text(sent.body, "note"), act=act)
    return {"item": item.item_no, "entry": str(entry.pk)}


def told_of(sent: Sent) -> dict[str, Any] | None:
    """What the screen had said, as an entry may keep it; None where the phone sent nothing that can be read."""
    told = sent.told
    if not isinstance(told, Mapping) or told.get("verdict") not in VERDICTS:
        return None
    numbers = {name: told[name] for name in ("as_of_ms", "data_age_s") if type(told.get(name)) is int}
    source = told.get("source")
    named = {"source": source[:20]} if isinstance(source, str) else {}
    return {"verdict": told["verdict"], **numbers, **named}


def _item(sent: Sent) -> Item:
    if sent.item is None:
        raise BadRecord("item must be the number of an item.")
    return sent.item


def _is_place(kind: str, place: str) -> bool:
    try:
        return not place or bool(places_on.read(kind, place))
    except ValueError:
        return False


def _mate(item: Item, item_no: str) -> Item | None:
    """The other piece that is named, if it is in the same set."""
    in_set = ItemState.objects.filter(item=item, gear_set__isnull=False).values("gear_set")
    others = Item.objects.filter(item_no=item_no, state__gear_set__in=in_set).exclude(pk=item.pk)
    return others.select_related("item_type").first() if item_no else None
