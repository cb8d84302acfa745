"""The report as other programs read it."""

from __future__ import annotations

from typing import Any

from gear import wording
from reports.rules.overdue import Line, OverdueReport


def as_json(report: OverdueReport) -> dict[str, Any]:
    """The report with exactly the keys of the interface: dates ISO or null, reasons as code, sentence and source.

    All of them speak of our own gear. Where visitors' gear was ever taken in, `visitors` holds the same of theirs,
    each line with its `owner`.
    """
    told = {
        "as_of": report.heading.as_of.isoformat(),
        "rule_pack": report.heading.rule_pack,
        **_lists(report),
    }
    return told | ({"visitors": _lists(report.visitors)} if report.visitors else {})


def _lists(report: OverdueReport) -> dict[str, Any]:
    return {
        "totals": dict(report.totals),
        "usable_now": [_line_json(line) for line in report.usable_now],
        "off_the_road": [_line_json(line) for line in report.off_the_road],
        "due_soon": [{**_line_json(line), "days_left": line.days_left} for line in report.due_soon],
    }


def _line_json(line: Line) -> dict[str, Any]:
    return {
        "item_no": line.item_no,
        "kind": line.kind,
        "class": line.cls,
        "holder": line.holder,
        "crew": line.crew,
        "depot": line.depot,
        "good_through": line.good_through.isoformat() if line.good_through else None,
        "days_over": line.days_over,
        "winning_clock": line.winning_clock,
        "reasons": [
            {"code": one.code, "sentence": wording.sentence(one), "source": one.source}
            for one in line.reasons
        ],
        **({"owner": line.owner} if line.owner else {}),
    }
