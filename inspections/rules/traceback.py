"""Trace back from a piece, usually one that failed: since when it may have been bad, and who had it in that time."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from gear.rules.correcting import corrected
from gear.rules.entries import Line, order

PRE_USE, WALK, JOB = "pre_use", "walk", "job"


@dataclass(frozen=True)
class Window:
    """The days that are traced; both ends count, because a date does not tell before from after.

    `good` is the last accepted test before the failure, None where there is none: then all of the record is traced.
    `bad` is the entry with which it failed, None where it did not: then the window ends with the day of the question.
    """

    since: date | None
    through: date
    good: Line | None = None
    bad: Line | None = None

    def touches(self, first: date, last: date | None) -> bool:
        """Whether something that ran from one day through another (None: still) had a day in the window."""
        return first <= self.through and (self.since is None or last is None or last >= self.since)


@dataclass(frozen=True)
class Use:
    """A recorded use or check: a look before use, a walk round a truck, a job check. `ref` leads to its record."""

    kind: str
    on: date
    by: str
    ref: str = ""
    note: str = ""


@dataclass(frozen=True)
class Stay:
    """That somebody or something had the piece from a day through a day; `through` is None where it still has it.

    `days` counts the days within the window, both ends included, and `uses` what is recorded on them.
    """

    holder: Mapping[str, Any]
    since: date
    through: date | None
    days: int
    uses: tuple[Use, ...] = ()

    @property
    def used_days(self) -> int:
        """The days with any record of use, each once."""
        return len({one.on for one in self.uses})


@dataclass(frozen=True)
class Joined:
    """That the piece belonged to a set from a day through a day; None: still."""

    set_no: str
    since: date
    through: date | None


def effective(lines: Iterable[Line]) -> list[Line]:
    """The entries as they count, corrections applied, in the order in which they happened."""
    return sorted(corrected(lines), key=order)


def window(lines: Sequence[Line], *, as_of: date) -> Window:
    """From the last accepted test before the failure through the failure; `lines` as `effective` gives them.

    The failure is the first failed test, rejecting look or rejection after that test. Where a piece never failed, the
    window runs from its last accepted test to the day of the question.
    """
    past = [line for line in lines if line.occurred_on <= as_of]
    bad = [at for at, line in enumerate(past) if is_failure(line)]
    good = [at for at, line in enumerate(past) if is_accepted(line) and (not bad or at < bad[-1])]
    last_good = past[good[-1]] if good else None
    after = [past[at] for at in bad if not good or at > good[-1]]
    first_bad = after[0] if after else None
    return Window(
        last_good.occurred_on if last_good else None,
        first_bad.occurred_on if first_bad else as_of,
        last_good,
        first_bad,
    )


def is_accepted(line: Line) -> bool:
    return line.kind == "tested" and line.facts.get("outcome") == "accepted"


def is_failure(line: Line) -> bool:
    """A failed test, a look that rejects, a rejection."""
    outcome = line.facts.get("outcome")
    return (
        line.kind == "rejected"
        or line.kind == "tested"
        and outcome == "failed"
        or line.kind == "inspected"
        and outcome == "reject"
    )


def stays(lines: Sequence[Line], traced: Window, uses: Iterable[Use] = ()) -> tuple[Stay, ...]:
    """Who or what had the piece within the window, in order. Two that follow one another share the day of the change.

    A use is counted with everybody who had the piece on its day, for the day of a change belongs to both.
    """
    changes: list[tuple[date, Mapping[str, Any] | None]] = []
    for line in lines:
        if line.kind == "handed_back":
            changes.append((line.occurred_on, None))
        elif (holder := line.facts.get("holder")) is not None:
            changes.append((line.occurred_on, holder))
    recorded = sorted(uses, key=lambda one: (one.on, one.kind, one.ref))
    found = []
    for at, (since, holder) in enumerate(changes):
        if holder is None or at and changes[at - 1][1] == holder:
            continue
        through = next((day for day, other in changes[at + 1 :] if other != holder), None)
        if traced.touches(since, through):
            found.append(_stay(holder, since, through, traced, recorded))
    return tuple(found)


def _stay(
    holder: Mapping[str, Any], since: date, through: date | None, traced: Window, uses: Sequence[Use]
) -> Stay:
    first = since if traced.since is None else max(since, traced.since)
    last = traced.through if through is None else min(through, traced.through)
    theirs = tuple(one for one in uses if first <= one.on <= last)
    return Stay(holder, since, through, (last - first).days + 1, theirs)


def sets(lines: Sequence[Line], traced: Window) -> tuple[Joined, ...]:
    """The sets that the piece belonged to within the window, in order."""
    found: list[Joined] = []
    for line in lines:
        set_no = str(line.facts.get("set_no") or "")
        if line.kind == "joined_set":
            found.append(Joined(set_no, line.occurred_on, None))
        elif line.kind == "left_set" and found and found[-1].set_no == set_no:
            found[-1] = Joined(set_no, found[-1].since, line.occurred_on)
    return tuple(one for one in found if traced.touches(one.since, one.through))


@dataclass(frozen=True)
class Together:
    """That two pieces were in one set at the same time."""

    set_no: str
    since: date
    through: date | None


def together(ours: Iterable[Joined], theirs: Iterable[Joined]) -> tuple[Together, ...]:
    """When two pieces were mates: the days on which both belonged to the same set, both ends counted."""
    found = []
    other = list(theirs)
    for one in ours:
        for mate in other:
            since = max(one.since, mate.since)
            ends = [day for day in (one.through, mate.through) if day is not None]
            through = min(ends) if ends else None
            if one.set_no == mate.set_no and (through is None or since <= through):
                found.append(Together(one.set_no, since, through))
    return tuple(found)
