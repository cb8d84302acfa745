"""Words for what the eye finds. Defects: 29 CFR 1910.137(c)(2)(iii); the rest common practice, no source."""

import pytest

from gear import wording
from gear.rules import visual
from gear.rules.readiness import KINDS


def test_every_word_has_a_least_outcome_kinds_and_a_sentence():
    assert wording.DAMAGE.keys() == visual.WORDS.keys()
    for least, kinds in visual.WORDS.values():
        assert least in ("clean", "test", "reject")
        assert kinds
        assert kinds <= set(KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_of_every_kind_something_can_be_said_for_every_fault(kind):
    for outcome in ("clean", "test", "reject"):
        assert visual.words_for(kind, outcome=outcome)


# (c)(2)(iii)(A) to (D): hole, tear, puncture, cut; ozone cutting or checking; embedded object; change of texture
@pytest.mark.parametrize("kind", ["glove", "sleeve", "blanket", "line_hose", "hood"])
@pytest.mark.parametrize(
    "word",
    ["hole", "tear", "puncture", "cut", "ozone_cutting", "ozone_checking", "embedded", "swelling", "soft_sticky",
     "hardened"],
)  # fmt: skip
def test_a_listed_defect_of_rubber_is_a_rejection_and_nothing_milder(kind, word):
    assert visual.refusal("reject", [word], kind=kind) is None
    for milder in ("accept", "clean", "test"):
        assert visual.refusal(milder, [word], kind=kind) == "OUTCOME_TOO_MILD"


@pytest.mark.parametrize(
    ("outcome", "words", "code"),
    [
        ("accept", [], None),
        ("clean", ["mud"], None),
        ("accept", ["mud"], "OUTCOME_TOO_MILD"),
        ("test", ["mud", "scratch"], None),
        ("clean", ["mud", "scratch"], "OUTCOME_TOO_MILD"),
        ("reject", ["mud", "scratch", "cut"], None),
        ("test", ["mud", "scratch", "cut"], "OUTCOME_TOO_MILD"),
        ("reject", [], None),  # nobody is kept from rejecting
        ("reject", ["broken_strands"], "WORD_NOT_OF_KIND"),
        ("reject", ["worn"], "WORD_NOT_OF_KIND"),
        ("fine", [], "OUTCOME_UNKNOWN"),
        ("", [], "OUTCOME_UNKNOWN"),
    ],
)
def test_what_may_be_said_of_a_glove(outcome, words, code):
    assert visual.refusal(outcome, words, kind="glove") == code


def test_of_a_kind_nobody_knows_any_listed_word_may_be_said():
    assert visual.refusal("reject", ["broken_strands"], kind=None) is None
    assert visual.refusal("reject", ["worn"], kind=None) == "WORD_NOT_OF_KIND"


def test_a_cut_ends_a_blanket_and_fault_current_ends_a_jumper():
    """Common practice, no source; for jumpers ASTM F855 says so in a note."""
    assert visual.least_outcome(["dirt", "cut"]) == visual.least_outcome(["carried_fault"]) == "reject"
    assert visual.least_outcome([]) == "accept"


# Every word of the trade's list, by what it asks for at least; words of paper and identity have no default of their own
# there, and put a piece in doubt. Common practice, no source.
REJECT = (
    "hole puncture cut nick tear snag ozone_cutting ozone_checking crazing embedded swelling soft_sticky hardened "
    "air_leak burn_tracking chemical_attack sun_cracks torn_eyelet stretched_cuff cracked broken_strands seized_clamp "
    "loose_ferrule jacket_burned carried_fault"
)
TEST = (
    "scratch indentation protuberance colour_splash repaired_mark fold_crease oil_contact dropped no_protectors "
    "unknown_history wet_storage flash_nearby stamp_illegible label_gone wrong_mate wrong_protector mixed_sizes "
    "expiry_missing"
)
CLEAN = "dirt mud oil_film moisture paint wax_lost corrosion_film powder_cake"


@pytest.mark.parametrize(("outcome", "words"), [("reject", REJECT), ("test", TEST), ("clean", CLEAN)])
def test_every_word_of_the_list_is_there_with_its_default_outcome(outcome, words):
    assert {word for word, (least, _kinds) in visual.WORDS.items() if least == outcome} == set(words.split())


@pytest.mark.parametrize(
    ("word", "kinds"),
    [
        ("air_leak", "glove"),
        ("torn_eyelet", "blanket"),
        ("stretched_cuff", "glove sleeve"),
        ("cracked", "rigid_cover live_line_tool voltage_detector"),
        ("broken_strands", "grounding_jumper"),
        ("jacket_burned", "grounding_jumper"),
        ("wax_lost", "rigid_cover live_line_tool"),
        ("corrosion_film", "grounding_jumper"),
        ("wrong_mate", "glove sleeve"),
        ("wrong_protector", "glove"),
        ("expiry_missing", "grounding_jumper"),
        ("label_gone", " ".join(KINDS)),
    ],
)
def test_a_word_is_offered_for_the_kinds_of_which_it_is_said(word, kinds):
    assert {kind for kind in KINDS if word in visual.words_for(kind)} == set(kinds.split())
