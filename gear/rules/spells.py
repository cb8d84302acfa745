"""Since when a piece that is not good has lain where somebody could use it, worked out from entries and rules alone.

Between two entries of a piece and its mates, and under one set of rules, an answer only turns from good to not good as
days pass: the last good day goes by, or the look of a day counts no more. So the start of each stretch tells of all of
it, and the day on which it turned is found by halving.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from gear.rules import fold, moments, readiness
from gear.rules.correcting import corrected
from gear.rules.entries import Line
from gear.rules.fold import ItemFacts
from gear.rules.readiness import GOOD, Rules, SetFacts

TICK = timedelta(microseconds=1)


@dataclass(frozen=True)
class Spell:
    """A stretch in which a piece was usable and not good throughout, up to the moment that is asked about.

    `since` is when it began, `on` its day. `told_from` is when it could first be told: the same, or earlier
    where what began it was recorded before it counts, as a failed test of today counts from the evening.
    """

    since: datetime
    on: date
    told_from: datetime


@dataclass
class Past:
    """What is on record of some pieces and of whatever was ever in a set with them, up to a moment.

    `chains` are the lines of each piece by its number, `sets` those of each set, `mates` whatever was ever in one set
    with a piece. `until` is the moment up to which lines count, `as_of` the day asked about, `rule_days` those from
    which other rules may count.
    """

    chains: Mapping[str, Sequence[Line]]
    sets: Mapping[str, Sequence[Line]]
    mates: Mapping[str, Sequence[str]]
    rules: Callable[[date], Rules]
    rule_days: Sequence[date]
    zone: ZoneInfo
    until: datetime
    as_of: date
    known_at: datetime
    folded: dict[tuple[str, datetime], ItemFacts] = field(default_factory=dict)

    def facts(self, item_no: str, at: datetime) -> ItemFacts:
        """The facts of a piece at a moment."""
        key = (item_no, at)
        if key not in self.folded:
            lines = self.chains.get(item_no, ())
            self.folded[key] = fold.fold(item_no, lines, as_of_at=at, known_at=self.known_at)
        return self.folded[key]


def spell(item_no: str, past: Past) -> Spell | None:
    """The stretch that lasts until the day asked about; None where the piece is good then, or out of reach."""
    begun = _beginnings(item_no, past)
    starts = sorted(begun)
    since: datetime | None = None
    for index in range(len(starts) - 1, -1, -1):
        start = starts[index]
        end = starts[index + 1] if index + 1 < len(starts) else None
        turned = _turned(item_no, past, start, end)
        if turned is None:
            break
        since = turned
        if turned != start:
            break
    if since is None:
        return None
    return Spell(since, moments.local_day(since, past.zone), min(since, begun.get(since, since)))


def _beginnings(item_no: str, past: Past) -> dict[datetime, datetime]:
    """Every moment at which something may change, with the earliest moment at which that was recorded."""
    begun: dict[datetime, datetime] = {}
    involved = [past.chains.get(one, ()) for one in (item_no, *past.mates.get(item_no, ()))]
    involved += [past.sets.get(set_no, ()) for set_no in _sets_of(item_no, past)]
    for lines in involved:
        for line in corrected(one for one in lines if one.recorded_at <= past.known_at):
            if line.occurred_at <= past.until:
                recorded = begun.get(line.occurred_at, line.recorded_at)
                begun[line.occurred_at] = min(recorded, line.recorded_at)
    if not begun:
        return {}
    first, last = min(begun), moments.end_of_day(past.as_of, past.zone)
    for day in past.rule_days:
        at = moments.start_of_day(day, past.zone)
        if first < at <= last:
            begun.setdefault(at, at)
    return begun


def _sets_of(item_no: str, past: Past) -> set[str]:
    return {
        line.facts["set_no"]
        for line in past.chains.get(item_no, ())
        if line.kind == "joined_set" and isinstance(line.facts.get("set_no"), str)
    }


def _turned(item_no: str, past: Past, start: datetime, end: datetime | None) -> datetime | None:
    """From when on, in the stretch from `start` to before `end`, the piece was usable and not good to its end.

    `start` itself where it was so throughout, None where it was good or out of reach at the end.
    """
    if not past.facts(item_no, start).usable:
        return None
    first = min(moments.local_day(start, past.zone), past.as_of)
    last = past.as_of if end is None else min(moments.local_day(end - TICK, past.zone), past.as_of)
    if not _good(item_no, past, start, first):
        return start
    if first >= last or _good(item_no, past, start, last):
        return None
    good, bad = first, last
    while (bad - good).days > 1:
        middle = good + (bad - good) // 2
        if _good(item_no, past, start, middle):
            good = middle
        else:
            bad = middle
    return moments.start_of_day(bad, past.zone)


def _good(item_no: str, past: Past, at: datetime, day: date) -> bool:
    """What the one decision says with the facts of a moment on a day."""
    facts = past.facts(item_no, at)
    mates = [past.facts(one, at) for one in past.mates.get(item_no, ())] if facts.set_no else []
    answer = readiness.decide(
        facts,
        past.rules(day),
        as_of=day,
        mates=[mate for mate in mates if mate.set_no == facts.set_no],
        gear_set=_set_facts(facts.set_no, past, at),
    )
    return answer.verdict == GOOD


def _set_facts(set_no: str | None, past: Past, at: datetime) -> SetFacts | None:
    if set_no is None:
        return None
    stated = fold.set_stated(past.sets.get(set_no, ()), as_of_at=at, known_at=past.known_at)
    return SetFacts(set_no, stated["kind"], stated["required"]) if stated else None
