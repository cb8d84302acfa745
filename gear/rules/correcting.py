"""Put what corrections state in the place of what they correct."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date, datetime
from uuid import UUID

from gear.rules.entries import UNREADABLE, Line


def corrected(lines: Iterable[Line]) -> list[Line]:
    """The lines with every correction applied: the last recorded correction of an entry replaces it.

    A correction whose replacement is null withdraws the entry.
    """
    plain: list[Line] = []
    corrections: dict[UUID | None, Line] = {}
    for line in lines:
        if line.kind != "corrected":
            plain.append(line)
            continue
        known = corrections.get(line.corrects)
        if known is None or (known.recorded_at, str(known.id)) < (line.recorded_at, str(line.id)):
            corrections[line.corrects] = line
    result = []
    for line in plain:
        correction = corrections.get(line.id)
        if correction is None:
            result.append(line)
            continue
        try:
            replacement = correction.facts["replacement"]
            result += [] if replacement is None else [replaced(line, replacement)]
        except UNREADABLE:
            # Neither what was said nor what should have been: a line that nobody can read stands in its place.
            result.append(replace(correction, occurred_at=line.occurred_at))
    return result


def replaced(line: Line, replacement: Mapping) -> Line:
    """`line` with the kind, moment and facts that its correction states."""
    occurred_at = datetime.fromisoformat(replacement["occurred_at"])
    if occurred_at.tzinfo is None:
        raise ValueError("The moment of a replacement needs its offset from UTC.")
    return replace(
        line,
        kind=replacement["kind"],
        facts=replacement["facts"],
        occurred_at=occurred_at,
        occurred_on=date.fromisoformat(replacement["occurred_on"]),
        precision=replacement.get("precision", line.precision),
    )
