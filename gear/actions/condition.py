"""What happens to an item's condition: holds, evidence, rejection, loss, repair, destruction, events."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils import timezone

from gear.actions.acting import Act, Refused, check, enter, keeping_refusals, reason_in
from gear.ledger import rules_on, site_zone
from gear.models import Entry, EvidenceKept, Item, User
from gear.rules.moments import local_day


def hold(item: Item, *, reason: str, act: Act) -> Entry:
    """Put the item on hold. Any worker may; it ends only by release, by another person."""
    return _simple("hold", "held", item, act, reason=reason)


def reject(item: Item, *, reason: str, act: Act) -> Entry:
    """Reject the item. Any worker may; it is final."""
    return _simple("reject", "rejected", item, act, reason=reason)


def report_lost(item: Item, *, reason: str, act: Act) -> Entry:
    """Report the item lost. It keeps counting in the book."""
    return _simple("report_lost", "lost", item, act, reason=reason)


def mark_needs_cleaning(item: Item, *, reason: str, act: Act) -> Entry:
    """Take the item out of use until it is cleaned and looked at."""
    return _simple("mark_needs_cleaning", "needs_cleaning", item, act, reason=reason)


def send_for_test(item: Item, *, reason: str, act: Act) -> Entry:
    """Call the item in for test; an accepted test brings it back."""
    return _simple("send_for_test", "sent_for_test", item, act, reason=reason)


def send_for_repair(item: Item, *, reason: str, act: Act) -> Entry:
    """Send the item out for repair where the rule pack allows it; an accepted test after repair brings it back."""
    with keeping_refusals("send_for_repair", item.item_no, act):
        pack = rules_on(local_day(timezone.now(), site_zone())).pack
        rule = pack.kind_rule(item.item_type.kind) if pack else None
        check("send_for_repair", item, act, repair_allowed=bool(rule and rule.repair_allowed))
        return enter(item, "sent_for_repair", {"reason": reason_in(reason)}, act)


def release(item: Item, *, hold_id: str, reason: str, act: Act) -> Entry:
    """Release one hold. Raises Refused when the person put it on; other holds stay."""
    with keeping_refusals("release", item.item_no, act):
        return _ended("release", item, hold_id, reason, act)


def keep_evidence(item: Item, *, reason: str, act: Act) -> Entry:
    """Keep the item as evidence, as it is: a hold under which nobody may do what could change it.

    Only a second supervisor ends it. Raises Refused where it is kept already.
    """
    with keeping_refusals("keep_evidence", item.item_no, act):
        check("keep_evidence", item, act)
        entry = enter(item, "held", {"reason": reason_in(reason), "evidence": True}, act)
        EvidenceKept.objects.get_or_create(entry=entry, defaults={"item": item})
        return entry


def free_evidence(item: Item, *, hold_id: str, reason: str, act: Act) -> Entry:
    """End that the item is kept as evidence. Raises Refused for whoever began it; other holds stay."""
    with keeping_refusals("free_evidence", item.item_no, act):
        return _ended("free_evidence", item, hold_id, reason, act)


def _ended(name: str, item: Item, hold_id: str, reason: str, act: Act) -> Entry:
    check(name, item, act, hold=hold_id)
    placed = Entry.objects.get(pk=hold_id)
    if act.by is not None and placed.by_id == act.by.pk:
        raise Refused("OWN_HOLD")
    return enter(item, "released", {"hold": hold_id, "reason": reason_in(reason)}, act)


def report_found(item: Item, *, note: str = "", act: Act) -> Entry:
    """Report a lost item found: it is held, and all clocks end until a new accepted test."""
    with keeping_refusals("report_found", item.item_no, act):
        check("report_found", item, act)
        return enter(item, "found", {"note": note or None}, act)


def report_event(
    item: Item, *, event: str, note: str = "", told: Mapping[str, Any] | None = None, act: Act
) -> Entry:
    """Report what voids the test: one of entries.VOIDING_EVENTS. The item is `stop` from then on.

    `told` is what the screen had said of the item.
    """
    with keeping_refusals("report_event", item.item_no, act):
        check("report_event", item, act)
        return enter(item, "event", {"event": event, "note": note or None, "told": told or None}, act)


def destroy(item: Item, *, witness: User | None, reason: str, act: Act) -> Entry:
    """Record that a rejected item was destroyed in front of a witness, who is another person."""
    with keeping_refusals("destroy", item.item_no, act):
        check("destroy", item, act)
        if witness is None or not witness.is_active:
            raise Refused("NO_WITNESS")
        if act.by is None or witness.pk == act.by.pk:
            raise Refused("OWN_WITNESS")
        return enter(item, "destroyed", {"reason": reason_in(reason), "witness": witness.username}, act)


def note(item: Item, *, text: str, act: Act) -> Entry:
    """Write a note on the item's record; it changes nothing."""
    with keeping_refusals("note", item.item_no, act):
        check("note", item, act)
        return enter(item, "noted", {"note": reason_in(text)}, act)


def _simple(name: str, kind: str, item: Item, act: Act, *, reason: str) -> Entry:
    with keeping_refusals(name, item.item_no, act):
        check(name, item, act)
        return enter(item, kind, {"reason": reason_in(reason)}, act)
