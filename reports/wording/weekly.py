"""Everything that the weekly report is made of, gathered once: page, PDF, mail and files are made of it alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from gear.queries.whereabouts import Phone
from inspections.queries import Awaited
from reports.rules.overdue import OverdueReport
from reports.wording.interface import as_json
from reports.wording.not_returned import Section


@dataclass(frozen=True)
class Weekly:
    """The report of one week for one reader.

    `lab` are the shipments still open, None for a crew, whose business they are not.
    """

    report: OverdueReport
    phones: Mapping[str, Phone]
    lab: Sequence[Awaited] | None
    old_pairs: Section


def weekly_json(week: Weekly) -> dict[str, Any]:
    """The weekly report as other programs read it: all keys of the overdue report."""
    return as_json(week.report)
