"""What the eye finds on a piece: words by kind, and the least that each of them asks for.

The listed defects bar use (29 CFR 1910.137(c)(2)(iii), as in the rule pack's table of defects); other defects that
might harm the insulation send the piece back for test. Which word belongs to which side is common practice where the
list does not name it. There is no outcome "minor, watch it".
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from gear.rules.readiness import KINDS

OUTCOMES = ("accept", "clean", "test", "reject")  # the mildest first

_RUBBER = frozenset({"glove", "sleeve", "blanket", "line_hose", "hood"})
_WORN = frozenset({"glove", "sleeve"})
_SHEET = frozenset({"blanket"})
_RIGID = frozenset({"rigid_cover", "live_line_tool"})
_GROUND = frozenset({"grounding_jumper"})
_LEATHER = frozenset({"protector"})
_ALL = frozenset(KINDS)

# word: (least outcome, kinds it is said of)
WORDS: Mapping[str, tuple[str, frozenset[str]]] = {
    "hole": ("reject", _RUBBER | _LEATHER),
    "puncture": ("reject", _RUBBER | _LEATHER),
    "cut": ("reject", _RUBBER | _LEATHER),
    "nick": ("reject", _RUBBER),
    "tear": ("reject", _RUBBER | _LEATHER),
    "snag": ("reject", _RUBBER),
    "ozone_cutting": ("reject", _RUBBER),
    "ozone_checking": ("reject", _RUBBER),
    "crazing": ("reject", _RUBBER | _RIGID),
    "embedded": ("reject", _RUBBER | _LEATHER),
    "swelling": ("reject", _RUBBER),
    "soft_sticky": ("reject", _RUBBER),
    "hardened": ("reject", _RUBBER),
    "air_leak": ("reject", frozenset({"glove"})),
    "burn_tracking": ("reject", _ALL),
    "chemical_attack": ("reject", _RUBBER | _RIGID | _LEATHER),
    "sun_cracks": ("reject", _RUBBER | _RIGID),
    "torn_eyelet": ("reject", _SHEET),
    "stretched_cuff": ("reject", _WORN),
    "cracked": ("reject", _RIGID | frozenset({"voltage_detector"})),
    "broken_strands": ("reject", _GROUND),
    "seized_clamp": ("reject", _GROUND),
    "loose_ferrule": ("reject", _GROUND),
    "jacket_burned": ("reject", _GROUND),
    "carried_fault": ("reject", _GROUND),
    "scratch": ("test", _RUBBER | _RIGID),
    "indentation": ("test", _RUBBER),
    "protuberance": ("test", _RUBBER),
    "colour_splash": ("test", _RUBBER),
    "repaired_mark": ("test", _RUBBER),
    "fold_crease": ("test", _RUBBER),
    "oil_contact": ("test", _RUBBER),
    "dropped": ("test", _ALL),
    "no_protectors": ("test", frozenset({"glove"})),
    "unknown_history": ("test", _ALL),
    "wet_storage": ("test", _ALL),
    "flash_nearby": ("test", _ALL),
    "stamp_illegible": ("test", _ALL - _LEATHER),
    "label_gone": ("test", _ALL),
    "wrong_mate": ("test", _WORN),
    "mixed_sizes": ("test", _WORN),
    "wrong_protector": ("test", frozenset({"glove"})),
    "expiry_missing": ("test", _GROUND),
    "dirt": ("clean", _ALL),
    "mud": ("clean", _ALL),
    "oil_film": ("clean", _ALL),
    "moisture": ("clean", _ALL),
    "paint": ("clean", _RUBBER | _RIGID),
    "wax_lost": ("clean", _RIGID),
    "corrosion_film": ("clean", _GROUND),
    "powder_cake": ("clean", _WORN),
}


def words_for(kind: str | None, *, outcome: str = "") -> tuple[str, ...]:
    """The words that may be said of a kind; of one least outcome where it is given. Empty for an unknown kind."""
    return tuple(word for word, (least, kinds) in WORDS.items() if kind in kinds and outcome in ("", least))


def least_outcome(words: Iterable[str]) -> str:
    """The mildest outcome that all these words allow. Raises KeyError for a word that is not in the list."""
    return max((WORDS[word][0] for word in words), key=OUTCOMES.index, default="accept")


def refusal(outcome: str, words: Iterable[str], *, kind: str | None) -> str | None:
    """The code of why a look cannot be recorded like this, or None when it can.

    A word never goes with a milder outcome than it asks for. Finding fault without a word is taken as it is: nobody is
    kept from reporting damage.
    """
    said = tuple(words)
    if any(word not in WORDS or kind in KINDS and kind not in WORDS[word][1] for word in said):
        return "WORD_NOT_OF_KIND"
    if outcome not in OUTCOMES:
        return "OUTCOME_UNKNOWN"
    if OUTCOMES.index(outcome) < OUTCOMES.index(least_outcome(said)):
        return "OUTCOME_TOO_MILD"
    return None
