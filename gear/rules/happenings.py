"""What happened to an item, as a decision needs it: an electrical test, or something that bars use."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

EVIDENCE = "evidence"  # the word of a hold that keeps the piece as it is


@dataclass
class TestFact:
    """What a decision needs of one electrical test. `judged_as` are the identity fields the verdict rests on."""

    __test__ = False  # not a test class
    on: date
    entry: str
    purpose: str
    pack: str
    judged_as: Mapping
    codes: list = field(default_factory=list)


@dataclass
class Happening:
    """Something that bars use: its word, its day, the entry that says so, and a reason in the user's words."""

    word: str
    on: date
    entry: str
    reason: str = ""
