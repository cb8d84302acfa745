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
        ],
        EVERY,
    ),
    "issue": "ok",
    "destroy": "rejected",
    "mark_cleaned": "needs_cleaning",
    "accept_by_eye": "ok held needs_cleaning out_for_test out_for_repair",
    "record_repair": "out_for_repair",
    **dict.fromkeys(["release", "release_batch"], "held"),
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
