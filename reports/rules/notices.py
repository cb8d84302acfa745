"""Who is told of what, and when again. Pure: what was told so far and the moment are given.

Only those are told who can act: a crew's foreman of its gear, the clerks and supervisors of a depot, the administrator
of the installation. What is stopped in somebody's hands is told at once and again every day; what is red of the
installation again every week; all else is new once.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from reports.rules.overdue import Line, Scope

# Common practice, no source, but for the day after which the supervisor is told (the design's own choice).
REPEAT = timedelta(hours=24)
ESCALATE = timedelta(hours=24)
CONFIRMED_FOR = timedelta(days=7)  # then the record still says that somebody has it, and it is told again
DUE_DAYS = 14
LONGEST_KEY = 200


@dataclass(frozen=True)
class Reader:
    """Somebody who can be mailed, and whose gear they answer for."""

    pk: int
    name: str
    address: str
    role: str
    scope: Scope


@dataclass(frozen=True)
class Alarm:
    """Something other than a line of the report that waits for somebody of one of `roles`."""

    key: str
    sentence: str
    roles: frozenset[str]


@dataclass(frozen=True)
class History:
    """When each key was last told to each person.

    `first` is when it was first written to a foreman, whether or not that ever reached them, `reached` when the first
    notice of it was written that did.
    """

    last: Mapping[tuple[int, str], datetime] = field(default_factory=dict)
    first: Mapping[str, datetime] = field(default_factory=dict)
    reached: Mapping[str, datetime] = field(default_factory=dict)

    def knows(self, reader: Reader, *keys: str) -> bool:
        return any((reader.pk, key) in self.last for key in keys)


@dataclass(frozen=True)
class Digest:
    """What is new for one person: stopped or without answer in hands, coming due, and alarms. `due` counts all."""

    in_hands: tuple[Line, ...]
    due: tuple[Line, ...]
    due_count: int
    alarms: tuple[Alarm, ...]

    @property
    def keys(self) -> list[str]:
        lines = [*map(hands_key, self.in_hands), *map(due_key, self.due)]
        return [*lines, *(one.key for one in self.alarms)]


def hands_key(line: Line) -> str:
    """What makes a line in somebody's hands the same line: the piece, and why it is not good."""
    why = "+".join(sorted({one.code for one in line.reasons}))
    return f"{line.verdict}|{line.item_no}|{why}"[:LONGEST_KEY]


def now_key(line: Line) -> str:
    """The same where it was told at once: what stood in a digest before does not put it off."""
    return f"now|{hands_key(line)}"[:LONGEST_KEY]


def due_key(line: Line) -> str:
    return f"due|{line.item_no}|{line.good_through.isoformat() if line.good_through else ''}"[:LONGEST_KEY]


def stops(lines: Iterable[Line], confirmed: Collection[str]) -> list[Line]:
    """What is stopped in somebody's hands and was not confirmed as out of use."""
    return [line for line in lines if line.verdict == "stop" and hands_key(line) not in confirmed]


def urgent(
    reader: Reader, open_stops: Iterable[Line], history: History, *, crews: Collection[str], now: datetime
) -> tuple[Line, ...]:
    """Everything stopped that this person must hear of now, or nothing while all of it was told within a day.

    `crews` are those with a foreman who can be mailed. Of other gear the supervisor hears at once; of theirs a day
    after it was written to the foreman, whose address may be wrong.
    """
    theirs = [line for line in open_stops if _answers_for(reader, line, history, crews, now)]
    last = [history.last.get((reader.pk, now_key(line))) for line in theirs]
    is_due = any(at is None or now - at >= REPEAT for at in last)
    return tuple(theirs) if is_due else ()


def _answers_for(reader: Reader, line: Line, history: History, crews: Collection[str], now: datetime) -> bool:
    if not reader.scope.covers(line):
        return False
    if reader.role == "foreman":
        return True
    if reader.role != "supervisor":
        return False
    first = history.first.get(now_key(line))
    return line.crew not in crews or (first is not None and now - first >= ESCALATE)


def digest(
    reader: Reader,
    *,
    in_hands: Iterable[Line],
    due_soon: Iterable[Line],
    alarms: Iterable[Alarm],
    history: History,
) -> Digest | None:
    """What is new for this person, None where nothing is. A foreman hears of what is stopped by itself, at once."""
    handles_gear = reader.role in ("foreman", "clerk")
    lines = [
        line
        for line in in_hands
        if (handles_gear or reader.role == "supervisor")
        and reader.scope.covers(line)
        and not (reader.role == "foreman" and line.verdict == "stop")
    ]
    due = [
        line
        for line in due_soon
        if handles_gear and reader.scope.covers(line) and (line.days_left or 0) <= DUE_DAYS
    ]
    found = Digest(
        tuple(line for line in lines if not history.knows(reader, hands_key(line), now_key(line))),
        tuple(line for line in due if not history.knows(reader, due_key(line))),
        len(due),
        tuple(one for one in alarms if reader.role in one.roles and not history.knows(reader, one.key)),
    )
    return found if found.keys else None
