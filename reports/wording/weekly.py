"""Everything that the weekly report is made of, gathered once: page, PDF, mail and files are made of it alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from gear.queries.lost import Lost
from gear.queries.whereabouts import Phone
from inspections.queries import Awaited
from reports.rules.exceptions import Noted
from reports.rules.loop import Compared
from reports.rules.overdue import Line, OverdueReport
from reports.wording.interface import as_json
from reports.wording.not_returned import Section


@dataclass(frozen=True)
class Alarms:
    """How many scrapped pieces were seen, and pieces used on old data, that nobody has looked into yet."""

    scrapped_seen: int
    old_data: int


@dataclass(frozen=True)
class NotSeen:
    """A piece that the newest walk round its truck looked for and did not see, and that is on record there still."""

    item_no: str
    what: str
    truck: str
    crew: str | None
    depot: str | None
    walked_on: date


@dataclass(frozen=True)
class Weekly:
    """The report of one week for one reader; `report.loop` compares its counts with those of a week before.

    `lab` are the shipments still open, None for a crew, whose business they are not. `missing` is what the newest walks
    did not see, `lost` what is lost still, `alarms` None for a report about the past.
    """

    report: OverdueReport
    phones: Mapping[str, Phone]
    lab: Sequence[Awaited] | None
    old_pairs: Section | None
    missing: Sequence[NotSeen] = ()
    exceptions: Sequence[Noted] = ()
    lost: Sequence[Lost] = ()
    alarms: Alarms | None = None

    @property
    def late_shipments(self) -> int:
        """How many shipments are open past the day on which they were expected."""
        return sum(one.days_late > 0 for one in self.lab or ())


def weekly_json(week: Weekly) -> dict[str, Any]:
    """The weekly report as other programs read it: all keys of the overdue report, and `loop` beside them.

    `loop` holds {"counts": {name: {"now", "week_before", "still"}}, "lines": {item_no: {"open_since", "still_open",
    "owner", "promised_on", "broken", "replacement"}}, "missing", "lost", "exceptions"}; days are ISO or null.
    """
    return as_json(week.report) | ({"loop": _loop(week)} if week.report.loop else {})


def _loop(week: Weekly) -> dict[str, Any]:
    counts = week.report.loop
    named = ("overdue", "blocked", "missing", "old_pairs") if counts else ()
    return {
        "counts": {name: _compared(getattr(counts, name)) for name in named},
        "lines": {line.item_no: _line(line, week) for line in week.report.usable_now},
        "missing": [{"item_no": one.item_no, "truck": one.truck} for one in week.missing],
        "lost": [
            {
                "item_no": one.item_no,
                "lost_on": one.lost.occurred_on.isoformat(),
                "holder": one.holder.get("name"),
            }
            for one in week.lost
        ],
        "exceptions": [_exception(one) for one in week.exceptions],
    }


def _compared(one: Compared) -> dict[str, int]:
    return {"now": one.now, "week_before": one.before, "still": one.still}


def _line(line: Line, week: Weekly) -> dict[str, Any]:
    promised = line.promised
    return {
        "open_since": line.open_since.isoformat() if line.open_since else None,
        "still_open": line.carried,
        "owner": promised.owner if promised else None,
        "promised_on": promised.promised_on.isoformat() if promised else None,
        "broken": promised.broken(week.report.heading.as_of) if promised else None,
        "replacement": line.spare,
    }


def _exception(one: Noted) -> dict[str, Any]:
    return {
        "about": one.about,
        "subject": one.subject or None,
        "name": one.name,
        "reason": one.reason,
        "begins_on": one.begins_on.isoformat(),
        "ends_on": one.ends_on.isoformat(),
        "approved_by": one.approved_by,
    }
