"""Moving everything that somebody or something has: what goes along, what may only go to a shelf, and what stays."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

from gear.rules.fold import ItemFacts
from gear.rules.readiness import GOOD, Answer

Told = tuple[Answer, ItemFacts]


@dataclass(frozen=True)
class Load:
    """The pieces sorted out: what goes along, what may go to a shelf, a bench or a lab only, and what stays.

    What is lost or destroyed stays on record where it was last: nobody can carry it.
    """

    goes: tuple[Told, ...]
    blocked: tuple[Told, ...]
    stays: tuple[Told, ...]

    @property
    def shown(self) -> str:
        """A mark of this very list: another list, or one sorted out otherwise, has another."""
        rows = (
            ",".join(sorted(facts.item_no for _answer, facts in part))
            for part in (self.goes, self.blocked, self.stays)
        )
        return hashlib.sha256("|".join(rows).encode()).hexdigest()[:32]


def sorted_out(told: Iterable[Told], *, to_usable: bool) -> Load:
    """Every piece in one of the three parts. `to_usable` is whether what arrives could be picked up and used there."""
    goes, blocked, stays = [], [], []
    for answer, facts in told:
        if facts.destroyed or facts.lost:
            stays.append((answer, facts))
        elif to_usable and answer.verdict != GOOD:
            blocked.append((answer, facts))
        else:
            goes.append((answer, facts))
    return Load(tuple(goes), tuple(blocked), tuple(stays))
