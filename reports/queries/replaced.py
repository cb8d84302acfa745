"""The section of the overdue report on old pairs: on page and paper, not in its JSON, CSV and XLSX."""

from __future__ import annotations

from gear.queries import Question
from gear.queries.not_returned import not_returned
from gear.queries.whereabouts import phones
from reports.rules.overdue import Heading
from reports.wording.not_returned import Section, tell_not_returned


def old_pairs(heading: Heading) -> Section:
    """Old pairs that were replaced and not returned, as of the moment and for the reader of a report."""
    asked = Question(heading.as_of, heading.as_of_at, None, heading.made_at)
    found = [one for one in not_returned(asked) if heading.scope.covers(one.place)]
    return tell_not_returned(found, phones=phones())
