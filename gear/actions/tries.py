"""Counts tries at a secret for all servers together: guessing is slow, and nobody is ever locked out.

Rows under unique keys that are only ever added, as those of signing in are: two workers can never both win one slot.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping

from django.core.cache import caches

TURN = 60  # seconds until a slot is free again


def take(budgets: Mapping[str, int], *, now: float) -> list[str] | None:
    """One try of each budget at `now` (seconds since 1970): what to give back after the right secret; None to wait.

    `budgets`: how many tries each subject has. With n, at most 2n pass in any minute.
    """
    held: list[str] = []
    for subject, slots in budgets.items():
        key = _take_one(subject, slots, now)
        if key is None:
            give_back(held)
            return None
        held.append(key)
    return held


def give_back(held: list[str]) -> None:
    """After the right secret: only failed tries count."""
    caches["sign_in"].delete_many(held)


def _take_one(subject: str, slots: int, now: float) -> str | None:
    name = hashlib.sha256(subject.encode()).hexdigest()[:32]
    for slot in range(slots):
        key = f"tries:{name}:{slot}:{int((now + slot * TURN / slots) // TURN)}"
        if caches["sign_in"].add(key, 1, timeout=2 * TURN):
            return key
    return None
