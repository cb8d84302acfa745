"""What falls due in the coming weeks, held against how many pieces the bench and the labs take in a week.

A piece counts in the calendar week (ISO 8601: Monday through Sunday) of its last good day, because it must be tested by
then. What waits already counts apart, before the first week. Every piece counts once; what is counted nowhere is said
and counted too, so that all pieces of ours add up to the book. Nothing is judged here: the reasons and the dates are
those that readiness.decide answered.

How many of a week cannot be done is exact: the most that can be done is a greatest flow from kinds to places, and by
the theorem of the greatest flow and the least cut (from memory: Ford and Fulkerson 1956) the least over all choices of
kinds. There are at most ten kinds, so all choices are tried.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import combinations

from gear.rules.fold import ItemFacts
from gear.rules.readiness import OVERRIDING, Answer
from gear.rules.whereabouts import Place, Places, place_of

SHORTEST, USUAL, LONGEST = 4, 4, 13  # weeks that can be looked ahead
# What an accepted test would end; a piece with one of these waits for the bench.
WAITING_CODES = frozenset(
    {"NEVER_TESTED", "NEEDS_TEST", "TEST_NOT_JUDGED", "JUDGED_AS_OTHER", "OUT_OF_DATE", "SHELF_LIMIT"}
)
# What nobody will test again, or cannot before it is found: it is no load.
GONE = frozenset({"rejected", "destroyed", "lost"})
WEEK = timedelta(days=7)


@dataclass(frozen=True)
class Due:
    """One piece on the due list. `on` is its last good day; None where it waits and nothing dates it.

    `waits` says that it is due already: past its day, of no use before a test, or set aside for one.
    """

    item_no: str
    kind: str
    on: date | None
    waits: bool
    place: Place = Place()
    usable: bool = False
    marked: bool = False  # its day is marked on the piece: a test does not move it


@dataclass(frozen=True)
class Load:
    """The due list through the last of some weeks, and how many pieces stand on it for no reason of theirs.

    `weeks` are Mondays, the first of them the week of the question. `not_listed` counts, by its word: "away" with a lab
    already, "later" than these weeks, "undated" (a kind without a clock), "gone" (rejected, destroyed, lost),
    "unreadable". `pieces` are all that were looked at: ours, the list and what is not on it.
    """

    as_of: date
    weeks: tuple[date, ...]
    due: tuple[Due, ...]
    not_listed: Mapping[str, int]

    @property
    def pieces(self) -> int:
        return len(self.due) + sum(self.not_listed.values())

    @property
    def waiting(self) -> Counter[str]:
        """How many of each kind are due before the first week."""
        return Counter(one.kind for one in self.due if one.waits)

    def of_week(self, monday: date) -> Counter[str]:
        """How many of each kind fall due in a week; what waits already is in none."""
        return Counter(one.kind for one in self.due if not one.waits and week_of(one.on) == monday)


def week_of(day: date | None) -> date | None:
    """The Monday of a day's calendar week."""
    return day - timedelta(days=day.weekday()) if day else None


def weeks_from(day: date, count: int) -> tuple[date, ...]:
    """So many Mondays, the first that of the day's own week. Raises ValueError outside SHORTEST to LONGEST."""
    if not SHORTEST <= count <= LONGEST:
        raise ValueError(f"{count} weeks cannot be looked ahead; {SHORTEST} to {LONGEST} can.")
    first = day - timedelta(days=day.weekday())
    return tuple(first + WEEK * number for number in range(count))


def load(
    judged: Iterable[tuple[Answer, ItemFacts]], *, as_of: date, weeks: int, places: Places | None = None
) -> Load:
    """The due list of our own gear over so many weeks, each piece from its answer as of the first day.

    Of visitors' gear, which is theirs to test, nothing is counted. `places` tells where holders belong today.
    """
    mondays = weeks_from(as_of, weeks)
    last = mondays[-1] + WEEK - timedelta(days=1)
    listed: list[Due] = []
    others: Counter[str] = Counter()
    for answer, facts in judged:
        if facts.owner:
            continue
        found = _standing(answer, facts, last, places or {})
        if isinstance(found, Due):
            listed.append(found)
        else:
            others[found] += 1
    listed.sort(key=lambda one: (not one.waits, one.on or date.min, one.item_no))
    return Load(as_of, mondays, tuple(listed), dict(others))


def _standing(answer: Answer, facts: ItemFacts, last: date, places: Places) -> Due | str:
    """The line of a piece, or the word under which it is counted besides."""
    codes = {reason.code for reason in answer.reasons}
    if facts.unreadable or facts.kind is None or codes & OVERRIDING:
        return "unreadable"
    if facts.condition in GONE:
        return "gone"
    if (facts.holder or {}).get("kind") == "lab":
        return "away"
    on, waits = answer.good_through, bool(codes & WAITING_CODES) or facts.out_for_test is not None
    if not waits and on is None:
        return "undated"
    if not waits and on is not None and on > last:
        return "later"
    where = place_of(facts.holder, places)
    marked = answer.winning_clock == "marked_expiry"
    return Due(facts.item_no, facts.kind, on, waits, where, facts.usable, marked)


@dataclass(frozen=True)
class Capacity:
    """How many pieces a place takes in a week, from one Monday on, or through another (`last`, None: until changed).

    `kind` is empty for everything together. `number` grows with the moment of entry.
    """

    number: int
    place: str
    kind: str
    pieces: int
    first: date
    last: date | None = None

    def covers(self, monday: date) -> bool:
        return self.first <= monday and (self.last is None or monday <= self.last)


Room = Mapping[str, Mapping[str, int]]


def room_in(rows: Iterable[Capacity], monday: date) -> Room:
    """What counts in a week: place: {kind, or empty for all together: pieces}.

    A row with an end (a holiday, a week with a second shift) goes before one without, whichever was entered later;
    among rows of one sort the one that begins last counts, and of two that begin together the one entered last.
    """
    found: dict[tuple[str, str], Capacity] = {}
    for row in rows:
        if row.covers(monday):
            known = found.get((row.place, row.kind))
            if known is None or _standing_of(row) > _standing_of(known):
                found[row.place, row.kind] = row
    room: dict[str, dict[str, int]] = {}
    for (place, kind), row in sorted(found.items()):
        room.setdefault(place, {})[kind] = row.pieces
    return room


def _standing_of(row: Capacity) -> tuple[bool, date, int]:
    return row.last is not None, row.first, row.number


def takes(stated: Mapping[str, int], kinds: Iterable[str]) -> int:
    """How many pieces of some kinds together one place takes in a week.

    What is stated for all together is a ceiling over everything, and without a line for a kind it holds for that
    kind; a place that states kinds alone takes no other.
    """
    ceiling = stated.get("")
    of_kinds = [stated.get(kind, ceiling or 0) for kind in kinds]
    return sum(of_kinds) if ceiling is None else min(ceiling, sum(of_kinds))


@dataclass(frozen=True)
class Fit:
    """How many of a load can be done in a week, how many cannot (`over`), and the kinds for which room is too small."""

    done: int
    over: int
    short: tuple[str, ...] = ()


def fit(wanted: Mapping[str, int], room: Room) -> Fit:
    """The most of a load that all places together can do, each kind wherever it is taken."""
    kinds = sorted(kind for kind, count in wanted.items() if count)
    total = sum(wanted.values())
    done = total
    short: tuple[str, ...] = ()
    for size in range(1, len(kinds) + 1):
        for chosen in combinations(kinds, size):
            most = sum(takes(stated, chosen) for stated in room.values())
            rest = sum(count for kind, count in wanted.items() if kind not in chosen)
            if most + rest < done:
                done, short = most + rest, chosen
    return Fit(done, total - done, short)


@dataclass(frozen=True)
class Week:
    """One week: its Monday, what falls due by kind, what all places take, and what does not fit.

    `capacity` is None, and `fit` with it, where nothing is stated for that week.
    """

    monday: date
    due: Mapping[str, int]
    capacity: int | None
    fit: Fit | None

    @property
    def sunday(self) -> date:
        return self.monday + timedelta(days=6)

    @property
    def count(self) -> int:
        return sum(self.due.values())

    @property
    def over(self) -> int:
        return self.fit.over if self.fit else 0


def plan(found: Load, rows: Sequence[Capacity]) -> tuple[Week, ...]:
    """Every week of a load against the capacity that is stated for it."""
    weeks = []
    for monday in found.weeks:
        due, room = found.of_week(monday), room_in(rows, monday)
        capacity = sum(_whole(stated) for stated in room.values()) if room else None
        weeks.append(Week(monday, due, capacity, fit(due, room) if room else None))
    return tuple(weeks)


def _whole(stated: Mapping[str, int]) -> int:
    """What a place takes of everything together."""
    return stated[""] if "" in stated else sum(stated.values())


@dataclass(frozen=True)
class Ahead:
    """The due list of the whole book, its weeks against capacity, and the capacities that were stated."""

    load: Load
    weeks: tuple[Week, ...]
    stated: tuple[Capacity, ...]

    @property
    def over(self) -> list[Week]:
        """The weeks in which more falls due than bench and labs take."""
        return [week for week in self.weeks if week.over]
