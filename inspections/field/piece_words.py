"""What the screens about one piece show of each kind: its checklist, its words for damage, its events, its drawings.

It stands in the shell, in the language of the page, and so it is there without a network and without any data.
"""

from __future__ import annotations

from dataclasses import dataclass

from gear import wording
from gear.queries import look_words
from gear.queries.look_words import Drawn
from gear.rules import checklists, places_on, visual
from gear.rules.readiness import KINDS
from inspections.rules.pieces import damage_words, events_of


@dataclass(frozen=True)
class Word:
    """A code, its words, and for damage what it leads to."""

    code: str
    words: str
    outcome: str = ""


@dataclass(frozen=True)
class PieceWords:
    """Everything that is shown of one kind. `drawings` are under the hand they are drawn for, "" for what has none."""

    kind: str
    lines: list[Word]
    damage: list[Word]
    events: list[Word]
    sides: list[Word]
    drawings: list[tuple[str, Drawn]]


def piece_words() -> list[PieceWords]:
    """Every kind, in the language in force."""
    return [_of(kind) for kind in KINDS]


def _of(kind: str) -> PieceWords:
    return PieceWords(
        kind,
        [Word(line.code, str(look_words.CHECKS[line.code])) for line in checklists.lines_of(kind)],
        [Word(word, str(wording.DAMAGE[word]), visual.WORDS[word][0]) for word in damage_words(kind)],
        [Word(event, str(wording.EVENTS[event])) for event in events_of(kind)],
        [Word(side, str(look_words.SIDES[side])) for side in places_on.sides_of(kind)],
        [(hand, drawn) for hand in _hands(kind) if (drawn := look_words.drawn(kind, hand=hand))],
    )


def _hands(kind: str) -> tuple[str, ...]:
    return ("L", "R") if kind in ("glove", "protector") else ("",)
