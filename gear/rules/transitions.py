"""Which change may follow on which condition, whoever asks (DESIGN: condition, holder, and what changes them)."""

from __future__ import annotations

from gear.rules.entries import USABLE_HOLDERS
from gear.rules.fold import ItemFacts
from gear.rules.happenings import EVIDENCE

# change: the conditions from which it may be made
_ALL_BUT_DESTROYED = frozenset(
    {"ok", "held", "needs_cleaning", "out_for_test", "out_for_repair", "rejected", "lost"}
)
FROM = {
    "hold": _ALL_BUT_DESTROYED,
    "reject": _ALL_BUT_DESTROYED,
    "report_lost": _ALL_BUT_DESTROYED,
    "mark_needs_cleaning": _ALL_BUT_DESTROYED,
    "send_for_test": _ALL_BUT_DESTROYED,
    "send_for_repair": _ALL_BUT_DESTROYED,
    "report_event": _ALL_BUT_DESTROYED,
    "move": _ALL_BUT_DESTROYED,
    "issue": frozenset({"ok"}),
    "destroy": frozenset({"rejected"}),
    "mark_cleaned": _ALL_BUT_DESTROYED,
    "release": _ALL_BUT_DESTROYED,
    "hold_batch": _ALL_BUT_DESTROYED,
    "release_batch": _ALL_BUT_DESTROYED,
    "report_found": _ALL_BUT_DESTROYED,
    "mate": frozenset({"ok", "held", "needs_cleaning", "out_for_test"}),
    "split": _ALL_BUT_DESTROYED,
    "relabel": _ALL_BUT_DESTROYED,
    "log_test": _ALL_BUT_DESTROYED,
    "note": _ALL_BUT_DESTROYED | {"destroyed"},
    "inspect": _ALL_BUT_DESTROYED,
    "acknowledge": _ALL_BUT_DESTROYED | {"destroyed"},
    "look": _ALL_BUT_DESTROYED,
    "accept_by_eye": _ALL_BUT_DESTROYED - {"rejected", "lost"},
    "record_repair": _ALL_BUT_DESTROYED - {"rejected", "lost"},
    "keep_evidence": _ALL_BUT_DESTROYED,
    "free_evidence": _ALL_BUT_DESTROYED,
    "hand_back": _ALL_BUT_DESTROYED,
}
# What may be done to a piece that is kept as evidence: say what is known of it, take it out of use for more reasons,
# and put it in a safe place. Everything that could change the piece, or what is taken to be known of it, waits.
WHILE_KEPT = frozenset(
    {
        "hold",
        "hold_batch",
        "release",
        "release_batch",
        "report_lost",
        "report_found",
        "report_event",
        "move",
        "note",
        "acknowledge",
        "inspect",
        "look",
        "free_evidence",
    }
)


def refusal(
    change: str,
    facts: ItemFacts,
    *,
    to_holder_kind: str | None = None,
    verdict: str | None = None,
    hold: str | None = None,
    repair_allowed: bool = True,
) -> str | None:
    """The code of why `change` may not be made to an item with these facts, or None when it may.

    `to_holder_kind` is where a move goes, `verdict` today's answer, `hold` the entry id of the hold to release,
    `repair_allowed` what the rule pack says of the kind.
    """
    if facts.condition not in FROM[change]:
        return "DESTROYED_IS_FINAL" if facts.destroyed else f"NOT_FROM_{facts.condition.upper()}"
    if code := _kept(change, facts, hold):
        return code
    if change == "mark_cleaned" and not facts.needs_cleaning:
        return "NOT_DIRTY"
    if change == "report_found" and not facts.lost:
        return "NOT_LOST"
    if change in ("release", "release_batch", "free_evidence") and hold not in {
        one.entry for one in facts.holds
    }:
        return "NO_SUCH_HOLD"
    if change == "record_repair" and not facts.out_for_repair:
        return "NOT_OUT_FOR_REPAIR"
    if change in ("send_for_repair", "record_repair") and not repair_allowed:
        return "REPAIR_NOT_ALLOWED"
    if change == "issue" or (change == "move" and to_holder_kind in USABLE_HOLDERS):
        return None if verdict == "good" else "NOT_GOOD"
    return None


def _kept(change: str, facts: ItemFacts, hold: str | None) -> str | None:
    """What a hold as evidence has against a change. It ends by an act of its own, and other holds by theirs."""
    kept = {one.entry for one in facts.holds if one.word == EVIDENCE}
    if change == "free_evidence" and not kept:
        return "NOT_KEPT"
    if change == "free_evidence":
        return None if hold in kept else "NO_SUCH_HOLD"
    if not kept:
        return None
    return None if change in WHILE_KEPT and hold not in kept else "KEPT_AS_EVIDENCE"
