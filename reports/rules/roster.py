"""Who is clear for so many days: fully kitted now through the last day, or with what lies on shelves in their size.

The choice of who is kitted from the shelves is the largest there is: everybody counts one, what a person lacks is used
up once, and every way of using it up that could still turn out best is followed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from gear.rules.kits import Need
from gear.rules.packs import RulePack

SHORTEST, USUAL, LONGEST = 1, 14, 60  # days ahead
SIZED = "glove"
MOST_STEPS = 200_000  # of the search over crews; beyond it the number is told as "at least"

Uses = tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class Asked:
    """One line of what everybody must have: a kind, the classes that fill it (None is any), and how many."""

    kind: str
    classes: tuple[str, ...] | None
    count: int

    def filled_by(self, cls: str) -> bool:
        return self.classes is None or cls in self.classes


def asked_of(kit: Sequence[Need], cls: str, pack: RulePack) -> tuple[Asked, ...]:
    """The site's kit for work that needs gloves and sleeves of a class.

    Of the lines of gloves, and of sleeves, the one of the highest class counts with the class needed or a higher one;
    the others stay as they are. Gloves of the class are asked for even where the kit names none.
    """
    lines = []
    for need in kit:
        known = pack.classes_of(need.kind)
        named = [one.cls for one in kit if one.kind == need.kind and one.cls in known]
        if need.kind in ("glove", "sleeve") and named and need.cls == max(named, key=known.index):
            lowest = max(known.index(need.cls), known.index(cls))
            lines.append(Asked(need.kind, known[lowest:], need.count))
        else:
            lines.append(Asked(need.kind, (need.cls,) if need.cls else None, need.count))
    if not any(line.kind == SIZED and line.classes and cls in line.classes for line in lines):
        known = pack.classes_of(SIZED)
        lines.append(Asked(SIZED, known[known.index(cls) :], 1))
    return tuple(dict.fromkeys(lines))


@dataclass(frozen=True)
class Held:
    """Something that is good through the last day: a pair of gloves or sleeves, or a piece of another kind."""

    kind: str
    cls: str
    size: str = ""


@dataclass(frozen=True)
class Person:
    """One person, where they belong, the size of their gloves ("" if unknown), and what of theirs lasts."""

    name: str
    crew: str = ""
    depot: str = ""
    size: str = ""
    has: tuple[Held, ...] = ()


@dataclass(frozen=True)
class Standing:
    """How a person stands: `lacks` are the lines with how many are missing, none where they are clear now."""

    person: Person
    lacks: tuple[tuple[Asked, int], ...]

    @property
    def clear(self) -> bool:
        return not self.lacks

    @property
    def sized(self) -> bool:
        """Whether the shelves can be asked at all: gloves without a size cannot be matched."""
        return bool(self.person.size) or all(line.kind != SIZED for line, _count in self.lacks)


@dataclass(frozen=True)
class Roster:
    """Everybody, who is clear now, whom the shelves would make clear, and how many whole crews that gives.

    `proven` is false where the search over crews was cut short; `crews` is then a number that is surely reached.
    """

    standings: tuple[Standing, ...]
    kitted: frozenset[str]
    crews_now: int
    crews: int
    proven: bool = True


def standing_of(person: Person, asked: Sequence[Asked]) -> Standing:
    """What a person lacks. Lines with classes are filled first; nothing fills two lines, gloves only in their size."""
    left = list(person.has)
    lacks = {}
    for line in sorted(asked, key=lambda one: (one.classes is None, len(one.classes or ()))):
        fits = [one for one in left if _fills(one, line, person)][: line.count]
        for one in fits:
            left.remove(one)
        if len(fits) < line.count:
            lacks[line] = line.count - len(fits)
    return Standing(person, tuple((line, lacks[line]) for line in asked if line in lacks))


def _fills(one: Held, line: Asked, person: Person) -> bool:
    if one.kind != line.kind or not line.filled_by(one.cls):
        return False
    return one.kind != SIZED or not person.size or one.size == person.size


def roster(people: Iterable[Person], stock: Iterable[Held], asked: Sequence[Asked]) -> Roster:
    """How everybody stands, and the most people and the most whole crews that the shelves make clear besides."""
    standings = tuple(standing_of(one, asked) for one in people)
    shelves = tuple(stock)
    open_ones = [one for one in standings if not one.clear and one.sized]
    uses = {one.person.name: _uses(one, asked) for one in open_ones}
    rooms = {bucket: _room(bucket, shelves, asked) for found in uses.values() for bucket, _count in found}
    sizes = {one.person.name: one.person.size for one in open_ones}
    kitted = most_served(uses, rooms, group=sizes)
    crews: dict[str, list[Standing]] = {}
    for one in standings:
        if one.person.crew:
            crews.setdefault(one.person.crew, []).append(one)
    now = sum(all(one.clear for one in members) for members in crews.values())
    together = {
        name: _summed(uses[one.person.name] for one in members if not one.clear)
        for name, members in crews.items()
        if any(not one.clear for one in members) and all(one.clear or one.sized for one in members)
    }
    more, proven = most_crews(together, rooms)
    return Roster(standings, frozenset(kitted), now, now + more, proven)


def _bucket(line: Asked, size: str) -> str:
    """What is counted together on the shelves: a kind in the classes of a line, gloves by size."""
    classes = "any" if line.classes is None else "/".join(line.classes)
    return f"{line.kind}|{classes}|{size if line.kind == SIZED else ''}"


def _uses(one: Standing, asked: Sequence[Asked]) -> Uses:
    """How much of each bucket a person takes. What fills a narrow line is taken from the wider ones as well."""
    found: dict[str, int] = {}
    for wide in asked:
        count = sum(missing for line, missing in one.lacks if _within(line, wide))
        if count:
            found[_bucket(wide, one.person.size)] = count
    return tuple(sorted(found.items()))


def _within(line: Asked, wide: Asked) -> bool:
    if line.kind != wide.kind:
        return False
    return wide.classes is None or (line.classes is not None and set(line.classes) <= set(wide.classes))


def _room(bucket: str, shelves: Sequence[Held], asked: Sequence[Asked]) -> int:
    kind, _classes, size = bucket.split("|")
    (line,) = {one for one in asked if _bucket(one, size) == bucket and one.kind == kind}
    return sum(_on_shelf(one, line, size) for one in shelves)


def _on_shelf(one: Held, line: Asked, size: str) -> bool:
    return one.kind == line.kind and line.filled_by(one.cls) and (one.kind != SIZED or one.size == size)


def _summed(uses: Iterable[Uses]) -> Uses:
    total: dict[str, int] = {}
    for found in uses:
        for bucket, count in found:
            total[bucket] = total.get(bucket, 0) + count
    return tuple(sorted(total.items()))


# The largest number that can be served

State = tuple[Uses, tuple[str, ...]]  # what is used up, and by whom


def most_served(
    uses: Mapping[str, Uses], rooms: Mapping[str, int], *, group: Mapping[str, str]
) -> tuple[str, ...]:
    """The most names whose uses fit together into the rooms, each counting one. Exact.

    Who shares a size is settled together: afterwards only what others use as well is carried on. Of two ways that serve
    as many, the one that uses no more of anything replaces the other.
    """
    states: list[State] = [((), ())]
    ordered = sorted(uses, key=lambda name: (group[name], uses[name], name))
    buckets_of = {
        size: {bucket for name in names for bucket, _count in uses[name]}
        for size, names in _grouped(ordered, group)
    }
    for size, names in _grouped(ordered, group):
        for _same, alike in groupby(names, key=lambda name: uses[name]):
            states = _extended(states, list(alike), uses, rooms)
        others = set().union(*(found for other, found in buckets_of.items() if other > size))
        states = _best([(_only(used, others), served) for used, served in states])
    return max((served for _used, served in states), key=len)


def _grouped(names: Sequence[str], group: Mapping[str, str]) -> list[tuple[str, list[str]]]:
    return [(size, list(some)) for size, some in groupby(names, key=lambda name: group[name])]


def _extended(
    states: list[State], alike: list[str], uses: Mapping[str, Uses], rooms: Mapping[str, int]
) -> list[State]:
    """Every state with none, one, two ... of people who lack the same."""
    found = []
    for used, served in states:
        now = used
        for count in range(len(alike) + 1):
            if count:
                now = _summed((now, uses[alike[count - 1]]))
            if any(amount > rooms[bucket] for bucket, amount in now):
                break
            found.append((now, (*served, *alike[:count])))
    return _best(found)


def _only(used: Uses, buckets: set[str]) -> Uses:
    return tuple((bucket, count) for bucket, count in used if bucket in buckets)


def _best(states: Iterable[State]) -> list[State]:
    """Without every state for which another serves as many and uses no more of anything."""
    kept: list[State] = []
    for state in sorted(states, key=lambda one: (-len(one[1]), sum(count for _bucket, count in one[0]), one)):
        if not any(_no_more(other, state) for other in kept):
            kept.append(state)
    return kept


def _no_more(other: State, state: State) -> bool:
    if len(other[1]) < len(state[1]):
        return False
    mine = dict(state[0])
    return all(count <= mine.get(bucket, 0) for bucket, count in other[0])


def most_crews(together: Mapping[str, Uses], rooms: Mapping[str, int]) -> tuple[int, bool]:
    """The most crews that can be made whole at once, and whether that is proven.

    Every choice is followed that could still beat the best found so far, the most modest crews first.
    """
    fits = sorted(
        (found for found in together.values() if all(count <= rooms[bucket] for bucket, count in found)),
        key=lambda found: (sum(count for _bucket, count in found), found),
    )
    best, steps = 0, 0
    open_choices: list[tuple[int, int, dict[str, int]]] = [(0, 0, dict(rooms))]
    while open_choices:
        place, count, left = open_choices.pop()
        best, steps = max(best, count), steps + 1
        if steps > MOST_STEPS:
            return best, False
        if count + _at_most(fits[place:], left) <= best:
            continue
        open_choices.append((place + 1, count, left))
        if all(amount <= left[bucket] for bucket, amount in fits[place]):
            taken = {**left, **{bucket: left[bucket] - amount for bucket, amount in fits[place]}}
            open_choices.append((place + 1, count + 1, taken))
    return best, True


def _at_most(rest: Sequence[Uses], left: Mapping[str, int]) -> int:
    """A number of crews that cannot be beaten: for each bucket alone, the most modest users first."""
    most = sum(all(amount <= left[bucket] for bucket, amount in one) for one in rest)
    for bucket in {name for one in rest for name, _amount in one}:
        room, fit = left[bucket], 0
        for amount in sorted(dict(one).get(bucket, 0) for one in rest):
            if amount > room:
                break
            room, fit = room - amount, fit + 1
        most = min(most, fit)
    return most
