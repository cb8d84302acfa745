"""Seals that phones hold: an anchor outside the database and this machine, which no copy put back can take along.

Each phone keeps the newest seal that it was handed, signed, and shows it with its next question. Where the record lacks
that seal, an older copy was put in its place, and nothing is `good` until somebody answers for it.
"""

from __future__ import annotations

import json
from typing import Any

from cryptography.exceptions import InvalidSignature
from django.utils import timezone

from gear.actions import restored as acts
from gear.queries import restored
from inspections.field import signing

LONGEST = 1000  # symbols of what a phone shows
WHAT = "seal"


def handed_out() -> dict[str, str] | None:
    """The newest seal, signed by itself, for a phone to keep and show; None while there is none."""
    stated = restored.newest_seal()
    if stated is None:
        return None
    return signing.signed({"v": 1, "what": WHAT, "installation": signing.installation(), **stated})


def hear(shown: str) -> bool:
    """Note a seal that a phone shows and this record lacks; whether it was. What we did not sign says nothing."""
    stated = _opened(shown)
    if stated is None:
        return False
    number, hashed, since = stated["number"], stated["hash"], stated["since"]
    return acts.heard_outside(number, hashed, since=since, now=timezone.now())


def _opened(shown: str) -> dict[str, Any] | None:
    if not shown or len(shown) > LONGEST:
        return None
    try:
        envelope = json.loads(shown)
        signing.verify(envelope["text"], envelope["signature"])
        stated: dict[str, Any] = json.loads(envelope["text"])
    except (ValueError, RecursionError, TypeError, LookupError, InvalidSignature):
        return None
    ours = stated.get("what") == WHAT and stated.get("installation") == signing.installation()
    return stated if ours else None
