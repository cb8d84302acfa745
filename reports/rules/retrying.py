"""When a mail that was not taken is tried again. Pure: what happened so far and the moment are told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

ACCEPTED, LATER, REFUSED = "accepted", "later", "refused"
OUTCOMES = (ACCEPTED, LATER, REFUSED)

# Common practice, no source. Nothing may take longer than a lease: every step of a sending gives up after 20 seconds.
LEASE = timedelta(minutes=15)
FIRST_WAIT = timedelta(minutes=10)
LONGEST_WAIT = timedelta(hours=4)
WAIT_WHEN_REFUSED = timedelta(hours=24)  # an address that does not exist today rarely does in an hour


@dataclass(frozen=True)
class Tried:
    """One attempt: when it began, until when nobody else may begin another, and what came of it.

    `outcome` is one of OUTCOMES, or empty where the process ended before it could be kept.
    """

    at: datetime
    lease_until: datetime
    outcome: str = ""


@dataclass(frozen=True)
class Turn:
    """Whether to try now. `state` is "go", "accepted", "busy" or "wait"; `again_at` says when, where it is later.

    `may_have_arrived` counts the attempts of which nobody knows the outcome.
    """

    state: str
    again_at: datetime | None = None
    may_have_arrived: int = 0


def turn(tried: Sequence[Tried], now: datetime) -> Turn:
    """What to do after these attempts, oldest first. Mail that may have arrived is sent again: none may be lost."""
    if any(one.outcome == ACCEPTED for one in tried):
        return Turn("accepted")
    unclear = sum(not one.outcome for one in tried)
    if not tried:
        return Turn("go")
    last = tried[-1]
    if not last.outcome:
        return (
            Turn("busy", last.lease_until, unclear - 1)
            if now < last.lease_until
            else Turn("go", None, unclear)
        )
    again_at = last.at + wait_after(tried)
    return Turn("go" if now >= again_at else "wait", again_at, unclear)


def wait_after(tried: Sequence[Tried]) -> timedelta:
    """How long to wait after the last of these attempts: twice as long after each, up to LONGEST_WAIT."""
    if tried[-1].outcome == REFUSED:
        return WAIT_WHEN_REFUSED
    doubled: timedelta = FIRST_WAIT * 2 ** min(len(tried) - 1, 8)
    return min(doubled, LONGEST_WAIT)
