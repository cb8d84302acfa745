"""What the truck's screens offer for each kind of piece: damage words in their order, and events that happen to it.

Which word is commonest is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping

from gear.rules import visual
from gear.rules.entries import VOIDING_EVENTS

# Words that are events: they are reported as such, so that each is said in one place alone.
EVENT_WORDS = frozenset({"dropped", "no_protectors", "flash_nearby"})
# Of one outcome, what is found most often at a truck comes first.
_COMMON = (
    "cut",
    "hole",
    "puncture",
    "tear",
    "ozone_cutting",
    "air_leak",
    "cracked",
    "broken_strands",
    "jacket_burned",
    "seized_clamp",
    "loose_ferrule",
    "burn_tracking",
    "carried_fault",
    "embedded",
    "soft_sticky",
    "swelling",
    "scratch",
    "oil_contact",
    "stamp_illegible",
    "mud",
    "dirt",
    "moisture",
)
_ONLY_OF: Mapping[str, frozenset[str]] = {
    "used_without_protectors": frozenset({"glove"}),
    "carried_fault_current": frozenset({"grounding_jumper"}),
}


def damage_words(kind: str | None) -> tuple[str, ...]:
    """The words that a truck may say of a kind: the harshest outcome first, and of one outcome the commonest first."""
    words = [word for word in visual.words_for(kind) if word not in EVENT_WORDS]
    rank = {word: place for place, word in enumerate(_COMMON)}
    return tuple(
        sorted(
            words,
            key=lambda word: (-visual.OUTCOMES.index(visual.WORDS[word][0]), rank.get(word, len(rank))),
        )
    )


def events_of(kind: str | None) -> tuple[str, ...]:
    """The events that can be reported of a kind, in the order of entries.VOIDING_EVENTS."""
    return tuple(
        event for event in VOIDING_EVENTS if event not in _ONLY_OF or (kind or "") in _ONLY_OF[event]
    )
