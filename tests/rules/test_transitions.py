"""Which change may follow on which condition: every pair, whoever asks."""

from datetime import date

import pytest

from gear.rules import transitions
from gear.rules.entries import CONDITIONS, HOLDER_KINDS, USABLE_HOLDERS
from tests.rules.histories import entry, folded, received

FEB, MAR = date(2026, 2, 1), date(2026, 3, 1)
HOLD = entry("held", reason="x", on=FEB)
IN_CONDITION = {
    "ok": [],
    "held": [HOLD],
    "needs_cleaning": [entry("needs_cleaning", reason="x", on=FEB)],
    "out_for_test": [entry("sent_for_test", on=FEB)],
    "out_for_repair": [entry("sent_for_repair", reason="x", on=FEB)],
    "rejected": [entry("rejected", reason="x", on=FEB)],
    "lost": [entry("lost", reason="x", on=FEB)],
    "destroyed": [entry("destroyed", reason="x", witness="ines", on=FEB)],
}
# The table of DESIGN: the conditions from which each change may be made, all guards but the condition being met.
EVERY = "ok held needs_cleaning out_for_test out_for_repair rejected lost"
ALLOWED = {
    **dict.fromkeys(
        [
            "hold",
            "reject",
            "report_lost",
            "mark_needs_cleaning",
            "send_for_test",
            "send_for_repair",
            "report_event",
            "move",
            "split",
            "relabel",
            "log_test",
            "inspect",
            "look",
            "hold_batch",
            "keep_evidence",
            "hand_back",
        ],
        EVERY,
    ),
    "issue": "ok",
    "destroy": "rejected",
    "mark_cleaned": "needs_cleaning",
    "accept_by_eye": "ok held needs_cleaning out_for_test out_for_repair",
    "record_repair": "out_for_repair",
    **dict.fromkeys(["release", "release_batch"], "held"),
    "free_evidence": "",  # only where it is kept as evidence, below
    "report_found": "lost",
    "mate": "ok held needs_cleaning out_for_test",
    "note": f"{EVERY} destroyed",
    "acknowledge": f"{EVERY} destroyed",
}


def refusal(change, condition, **guards):
    facts = folded(received(), *IN_CONDITION[condition])
    assert facts.condition == condition
    met = {"to_holder_kind": "shelf", "verdict": "good", "hold": str(HOLD.id), "repair_allowed": True}
    return transitions.refusal(change, facts, **{**met, **guards})


def test_the_table_is_complete():
    assert set(ALLOWED) == set(transitions.FROM)
    assert set(IN_CONDITION) == set(CONDITIONS)


@pytest.mark.parametrize("condition", CONDITIONS)
@pytest.mark.parametrize("change", ALLOWED)
def test_every_change_from_every_condition(change, condition):
    assert (refusal(change, condition) is None) is (condition in ALLOWED[change].split())


@pytest.mark.parametrize("change", sorted(set(ALLOWED) - {"note", "acknowledge"}))
def test_what_was_destroyed_is_final_and_it_is_said(change):
    assert refusal(change, "destroyed") == "DESTROYED_IS_FINAL"


@pytest.mark.parametrize("condition", sorted(set(CONDITIONS) - {"ok", "destroyed"}))
def test_what_cannot_be_issued_is_told_after_its_condition(condition):
    assert refusal("issue", condition) == f"NOT_FROM_{condition.upper()}"


@pytest.mark.parametrize(
    ("change", "condition", "guards", "code"),
    [
        ("destroy", "ok", {}, "NOT_FROM_OK"),
        ("mark_cleaned", "ok", {}, "NOT_DIRTY"),
        ("report_found", "ok", {}, "NOT_LOST"),
        ("release", "ok", {}, "NO_SUCH_HOLD"),
        ("release", "held", {"hold": "another"}, "NO_SUCH_HOLD"),
        ("release", "held", {"hold": None}, "NO_SUCH_HOLD"),
        ("send_for_repair", "ok", {"repair_allowed": False}, "REPAIR_NOT_ALLOWED"),
        ("record_repair", "ok", {}, "NOT_OUT_FOR_REPAIR"),
        ("record_repair", "out_for_repair", {"repair_allowed": False}, "REPAIR_NOT_ALLOWED"),
        ("issue", "ok", {"verdict": "stop"}, "NOT_GOOD"),
        ("issue", "ok", {"verdict": "unknown"}, "NOT_GOOD"),
        ("issue", "ok", {"verdict": None}, "NOT_GOOD"),
    ],
)
def test_the_other_guards(change, condition, guards, code):
    assert refusal(change, condition, **guards) == code


@pytest.mark.parametrize("verdict", ["stop", "unknown", None])
@pytest.mark.parametrize("kind", HOLDER_KINDS)
def test_a_blocked_item_may_go_to_a_shelf_a_bench_or_a_lab_and_to_nobodys_hands(kind, verdict):
    blocked = "NOT_GOOD" if kind in USABLE_HOLDERS else None
    assert refusal("move", "ok", to_holder_kind=kind, verdict=verdict) == blocked
    assert refusal("move", "rejected", to_holder_kind=kind, verdict=verdict) == blocked
    assert refusal("move", "ok", to_holder_kind=kind, verdict="good") is None


KEPT = entry("held", reason="contact at pole 7", evidence=True, on=MAR)
# What a piece that is kept as evidence lets be done, whatever else is the matter with it. All else is refused.
WHILE_KEPT = {"hold", "hold_batch", "release", "release_batch", "report_lost", "report_found", "report_event", "move",
              "note", "acknowledge", "inspect", "look", "free_evidence"}  # fmt: skip


def refused_while_kept(change, condition, *, hold):
    facts = folded(received(), *IN_CONDITION[condition], KEPT)
    met = {"to_holder_kind": "shelf", "verdict": "good", "hold": str(hold.id), "repair_allowed": True}
    return transitions.refusal(change, facts, **met)


@pytest.mark.parametrize("condition", [one for one in CONDITIONS if one != "destroyed"])
@pytest.mark.parametrize("change", ALLOWED)
def test_a_piece_kept_as_evidence_stays_as_it_is(change, condition):
    """Every change from every condition: only what leaves the piece alone, and only as it could be done without."""
    hold = KEPT if change == "free_evidence" else HOLD
    told = refused_while_kept(change, condition, hold=hold)
    if change not in WHILE_KEPT:
        assert told is not None
        assert told == "KEPT_AS_EVIDENCE" or told.startswith("NOT_FROM_")
    elif change != "free_evidence":
        assert told == refusal(change, condition if condition != "ok" else "ok")
    else:
        assert told is None


def test_it_goes_into_nobodys_hands_and_to_a_shelf_it_may_go():
    facts = folded(received(), KEPT)
    assert transitions.refusal("move", facts, to_holder_kind="shelf") is None
    assert transitions.refusal("move", facts, to_holder_kind="person", verdict="stop") == "NOT_GOOD"


def test_a_hold_as_evidence_ends_by_its_own_act_alone_and_other_holds_by_theirs():
    facts = folded(received(), HOLD, KEPT)
    assert transitions.refusal("release", facts, hold=str(KEPT.id)) == "KEPT_AS_EVIDENCE"
    assert transitions.refusal("release_batch", facts, hold=str(KEPT.id)) == "KEPT_AS_EVIDENCE"
    assert transitions.refusal("release", facts, hold=str(HOLD.id)) is None
    assert transitions.refusal("free_evidence", facts, hold=str(HOLD.id)) == "NO_SUCH_HOLD"
    assert transitions.refusal("free_evidence", folded(received(), HOLD), hold=str(HOLD.id)) == "NOT_KEPT"


def test_once_freed_everything_is_as_it_was():
    facts = folded(
        received(), KEPT, entry("released", hold=str(KEPT.id), reason="report is in", on=date(2026, 3, 2))
    )
    assert facts.evidence is None
    assert transitions.refusal("log_test", facts) is None
