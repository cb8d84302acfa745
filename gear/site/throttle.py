"""Slows down the guessing of passwords, and never locks anyone out: a tool room must open at six.

Each account, address and pair of both has a few slots. A try takes one slot of each; a failed try keeps them, a
right password gives them back. Every slot comes free again once a minute, in turn, so that after the first burst
one more try passes every few seconds. With n slots no more than 2n tries pass in any 60 seconds.

Slots are rows under a unique key in the database: the limits hold for all workers and servers together. No key is
ever used again, so two workers can never both win the same slot. Values are written and never read back.
"""

import hashlib
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass

from django.core.cache import caches

TURN = 60  # seconds until a slot is free again
ACCOUNT_SLOTS = 5  # tries for one account from anywhere: at most 10 pass in any minute
PAIR_SLOTS = 3  # of these from one address: a guesser elsewhere leaves slots for the rightful person
ADDRESS_SLOTS = 30  # tries from one address over all accounts


class WaitFirst(Exception):
    """No slot is free. `seconds` is the wait until one is."""

    def __init__(self, seconds: int) -> None:
        super().__init__(f"Wait {seconds} seconds, then try again.")
        self.seconds = seconds


@dataclass(frozen=True, kw_only=True)
class Attempt:
    """One try that was let through, and the slots that it holds."""

    keys: tuple[str, ...]

    def give_back(self) -> None:
        """After the right password: only failed tries count."""
        caches["sign_in"].delete_many(self.keys)


def take(*, account: str, address: str, now: float) -> Attempt:
    """Lets one try through at `now` (seconds since 1970). Raises WaitFirst where a budget is used up."""
    account = unicodedata.normalize("NFKC", account).casefold().strip()
    budgets = (
        ("account", account, ACCOUNT_SLOTS),
        ("pair", f"{account}\n{address}", PAIR_SLOTS),
        ("address", address, ADDRESS_SLOTS),
    )
    held: list[str] = []
    for budget, subject, slots in budgets:
        key = _take_one(budget, subject, slots=slots, now=now)
        if key is None:
            caches["sign_in"].delete_many(held)
            raise WaitFirst(_seconds_to_wait(slots, now=now))
        held.append(key)
    return Attempt(keys=tuple(held))


def _take_one(budget: str, subject: str, *, slots: int, now: float) -> str | None:
    cache = caches["sign_in"]
    for key in _keys(budget, subject, slots=slots, now=now):
        if not cache.has_key(key) and cache.add(key, 1, timeout=2 * TURN):
            return key
    return None


def _keys(budget: str, subject: str, *, slots: int, now: float) -> Iterator[str]:
    name = hashlib.sha256(subject.encode()).hexdigest()[:32]  # what was typed may be a password by mistake
    for slot in range(slots):
        turn = int((now + slot * TURN / slots) // TURN)
        yield f"{budget}:{name}:{slot}:{turn}"


def _seconds_to_wait(slots: int, *, now: float) -> int:
    spacing = TURN / slots
    return int(spacing - now % spacing) + 1
