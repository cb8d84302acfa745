"""A carton to a lab and back: its states, the outcomes of a line, and what each outcome asks for."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from gear.rules.fold import ItemFacts

STATES = ("packing", "sent", "closed")
# What became of a line, or what came back that was on no line. `withdrawn` takes back a line that was settled by
# mistake, and opens it again.
PASSED, RETURNED, SCRAPPED = "passed", "rejected_returned", "rejected_destroyed"
MISSING, EXTRA, DIFFERS, WITHDRAWN = "missing", "extra", "identity_differs", "withdrawn"
OUTCOMES = (PASSED, RETURNED, SCRAPPED, MISSING, EXTRA, DIFFERS, WITHDRAWN)
OF_A_LINE = (PASSED, RETURNED, SCRAPPED, MISSING, DIFFERS)
BACK = frozenset({PASSED, RETURNED, DIFFERS})  # the piece is in our hands again and goes to a shelf
FINAL = frozenset({RETURNED, SCRAPPED})  # nothing brings the piece back
_NUMBER = re.compile(r"L-([0-9]{1,9})")


@dataclass(frozen=True)
class Needs:
    """What must be stated with an outcome: the shelf it goes to, the lab's report, what was read on the piece."""

    shelf: bool = False
    report_no: bool = False
    read: bool = False


NEEDS = {
    PASSED: Needs(shelf=True),
    RETURNED: Needs(shelf=True),
    SCRAPPED: Needs(report_no=True),
    MISSING: Needs(),
    DIFFERS: Needs(shelf=True, read=True),
    WITHDRAWN: Needs(),
}


def next_number(taken: Iterable[str]) -> str:
    """The number after the highest one that was given: L-0001, then L-0002."""
    given = [int(found[1]) for number in taken if (found := _NUMBER.fullmatch(number))]
    return f"L-{max(given, default=0) + 1:04d}"


def may_go(facts: ItemFacts) -> str | None:
    """The code of why a piece may not go into a carton for test, or None when it may.

    Blocked pieces may: held, suspect, due. A rejected one is beyond any test, and a lost one is first reported found.
    """
    if facts.destroyed:
        return "DESTROYED_IS_FINAL"
    if facts.condition == "rejected":
        return "NOT_FROM_REJECTED"
    return "NOT_FROM_LOST" if facts.lost else None


def may_follow(earlier: str, outcome: str, *, closed: bool) -> str | None:
    """The code of why an outcome may not correct an earlier one, or None when it may.

    What came back extra is on no line, so it can only be withdrawn. A closed shipment gets no open line again.
    """
    if earlier == WITHDRAWN or outcome not in NEEDS:
        return "NO_SUCH_OUTCOME"
    if earlier == outcome:
        return "SAME_OUTCOME"
    if outcome == WITHDRAWN and closed and earlier != EXTRA:
        return "SHIPMENT_CLOSED"
    if earlier == EXTRA and outcome != WITHDRAWN:
        return "EXTRA_ONLY_WITHDRAWN"
    return None


def result_of(facts: ItemFacts, *, sent_on: date) -> str:
    """What the book knows of a piece that was sent on a day: rejected, accepted, or waiting for its test result.

    Only an accepted test after the sending takes the call for test back; whatever the lab says does not.
    """
    if facts.condition in ("rejected", "destroyed"):
        return "rejected"
    tested = facts.out_for_test is None and facts.accepted is not None and facts.accepted.on >= sent_on
    return "accepted" if tested else "waiting"
