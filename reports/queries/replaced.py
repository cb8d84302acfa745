"""Old pairs that were replaced and not returned, as of the moment and for the reader of a report."""

from __future__ import annotations

from gear.queries import Question
from gear.queries.not_returned import NotReturned, not_returned
from reports.rules.overdue import Scope


def old_pairs(asked: Question, scope: Scope) -> list[NotReturned]:
    """Those whose holder belongs to what this reader sees, the longest first."""
    return [one for one in not_returned(asked) if scope.covers(one.place)]
