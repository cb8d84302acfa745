"""Looks: what the eye found before use and at the tool room, where on the piece, and who may accept by it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils import timezone

from gear.actions.acting import Act, Refused, check, enter, keeping_refusals, reason_in
from gear.ledger import rules_on, site_zone
from gear.models import Entry, Item
from gear.queries.people import qualification_on
from gear.rules import checklists, places_on, visual
from gear.rules.fold import ItemFacts
from gear.rules.moments import local_day


def inspect_before_use(
    item: Item,
    *,
    outcome: str,
    words: list[str] | None = None,
    place: str = "",
    note: str = "",
    checklist: list[str] | None = None,
    told: Mapping[str, Any] | None = None,
    act: Act,
) -> Entry:
    """Record the user's look before use: accept, clean, test or reject, with words of gear.rules.visual.

    `place` is a code of gear.rules.places_on, `checklist` the codes of gear.rules.checklists that were gone through,
    `told` what the screen had said of the item. Raises Refused for a word, place or line that this kind does not have,
    and for a word that asks for more than the outcome.
    """
    with keeping_refusals("inspect_before_use", item.item_no, act):
        facts = check("inspect", item, act)
        if outcome == "accept" and facts.evidence and act.via != "field":
            raise Refused("KEPT_AS_EVIDENCE")  # a phone recorded its look before it knew: that is kept
        if not set(checklist or ()) <= {line.code for line in checklists.lines_of(facts.kind)}:
            raise Refused("LINE_NOT_OF_KIND")
        found = _found(facts, outcome, words, place)
        seen = {"checklist": checklist or None, "told": told or None, "note": note or None}
        return enter(item, "inspected", {**found, **seen, "scope": "pre_use"}, act)


def look(
    item: Item,
    *,
    outcome: str,
    words: list[str] | None = None,
    place: str = "",
    note: str = "",
    cleaned: bool = False,
    act: Act,
) -> Entry:
    """Record a look at the tool room. Accepting needs an inspector whose qualification has not run out.

    An inspector who is not on file may accept, and the entry says so. A dirty piece is accepted only where it was
    `cleaned`; nobody accepts what they repaired. Raises Refused or NotAllowed.
    """
    with keeping_refusals("look", item.item_no, act):
        facts = check("look", item, act)
        found = _found(facts, outcome, words, place)
        stated = {**found, "scope": "tool_room", "note": note or None, "cleaned": cleaned or None}
        if outcome == "accept":
            if facts.needs_cleaning and not cleaned:
                raise Refused("NOT_CLEANED")
            stated["qualification"] = _checked_inspector(item, facts, act)
        return enter(item, "inspected", stated, act)


def mark_cleaned(item: Item, *, note: str = "", act: Act) -> Entry:
    """Record that the item was cleaned and accepted by eye at the tool room, by whoever may accept."""
    with keeping_refusals("mark_cleaned", item.item_no, act):
        facts = check("mark_cleaned", item, act)
        stated = {"outcome": "accept", "scope": "tool_room", "cleaned": True, "note": note or None}
        stated["qualification"] = _checked_inspector(item, facts, act, change="mark_cleaned")
        return enter(item, "inspected", stated, act)


def record_repair(item: Item, *, done: str, length_mm: int | None = None, act: Act) -> Entry:
    """Record what was done to an item that is out for repair. Only an accepted test after repair brings it back.

    `length_mm` is its length now where it was cut shorter; the identity is corrected by a correction of its own.
    """
    with keeping_refusals("record_repair", item.item_no, act):
        pack = rules_on(local_day(timezone.now(), site_zone())).pack
        rule = pack.kind_rule(item.item_type.kind) if pack else None
        check("record_repair", item, act, repair_allowed=bool(rule and rule.repair_allowed))
        stated = {"event": "repaired", "note": reason_in(done), "length_mm": length_mm}
        return enter(item, "event", stated, act)


def check_not_own_repair(facts: ItemFacts, act: Act) -> None:
    """Raise Refused where the person recorded a repair of the item that no accepted test has followed yet."""
    if act.by and act.by.pk in repairers(facts):
        raise Refused("OWN_REPAIR")


def repairers(facts: ItemFacts) -> frozenset[int]:
    """Keys of the people who recorded a repair that no accepted test has followed yet. A query only where one was."""
    repairs = [happened.entry for happened in facts.voided if happened.word == "repaired"]
    if not repairs:
        return frozenset()
    return frozenset(Entry.objects.filter(pk__in=repairs, by__isnull=False).values_list("by_id", flat=True))


def _found(facts: ItemFacts, outcome: str, words: list[str] | None, place: str) -> dict:
    if code := visual.refusal(outcome, words or (), kind=facts.kind):
        raise Refused(code)
    if place:
        try:
            places_on.read(facts.kind, place)
        except ValueError:
            raise Refused("PLACE_NOT_OF_KIND") from None
    return {"outcome": outcome, "words": words or None, "place": place or None}


def _checked_inspector(
    item: Item, facts: ItemFacts, act: Act, *, change: str = "accept_by_eye"
) -> str | None:
    if change == "accept_by_eye":
        check("accept_by_eye", item, act)
    return check_inspector(facts, act)


def check_inspector(facts: ItemFacts, act: Act) -> str | None:
    """How the qualification of whoever accepts stands: "current" or "not_on_file"; None where nobody signed in.

    Both the day of the look and the day of entry count: nobody accepts for a day on which they still could. Raises
    Refused where it ran out, and for whoever repaired the piece.
    """
    check_not_own_repair(facts, act)
    if act.by is None:
        return None
    today = local_day(timezone.now(), site_zone())
    day = act.occurred_on or (local_day(act.occurred_at, site_zone()) if act.occurred_at else today)
    found = {qualification_on(act.by, one) for one in (day, today)}
    if "expired" in found:
        raise Refused("QUALIFICATION_EXPIRED")
    return found.pop()
