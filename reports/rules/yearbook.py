"""The year in figures: what all records of the pieces say of one year, counted piece by piece.

Corrections are applied, and late entries count on the day they are about: it is the year as known when it is counted.
The gear of visitors is counted apart and in none of our figures. Nothing is rated here: counts, and what they count.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from gear.rules.correcting import corrected
from gear.rules.entries import UNREADABLE, USABLE_HOLDERS, Line, order
from gear.rules.fold import ItemFacts
from gear.rules.readiness import Rules
from reports.rules.exposure import Exposure, State, exposure, states

UNSTATED = ""  # a group of what is not on record
AGES = ("0", "1", "2", "3", "4", "5+")  # full years since it was made
BY_HAND, BY_TEST = "by_hand", "test:"  # causes of a rejection, beside the words of a look


@dataclass(frozen=True)
class Span:
    """The days of a year that are counted, both included: a whole year, or what has passed of it."""

    first: date
    last: date
    end_of: Callable[[date], datetime]
    changes: Sequence[date] = ()

    def covers(self, day: date) -> bool:
        return self.first <= day <= self.last


Counts = dict[str, list[int]]  # group: [failed, of]


@dataclass
class Yearbook:
    """Everything counted. Keys of groups are plain values; `UNSTATED` where the record does not say."""

    population: Counter[tuple[str, str]] = field(default_factory=Counter)  # (kind, class), at the end
    ages: Counter[str] = field(default_factory=Counter)
    visitors: int = 0  # pieces of others that were here at the end
    tests: dict[str, Counter[str]] = field(default_factory=dict)  # kind: outcome: how many
    failing: dict[str, Counts] = field(default_factory=dict)  # "model", "lot", "age", "crew": groups
    causes: Counter[tuple[str, str]] = field(default_factory=Counter)  # (kind, cause) of rejections
    rejected: Counter[str] = field(default_factory=Counter)  # pieces by kind, each once
    lives: dict[str, list[tuple[int, bool]]] = field(default_factory=dict)  # kind: (days, ended)
    happened: Counter[str] = field(default_factory=Counter)  # received, lost, found, destroyed; still_lost
    exposure: dict[str, Exposure] = field(default_factory=dict)  # by kind
    visitors_exposure: Exposure = field(default_factory=Exposure)
    looked_at: int = 0
    unreadable: int = 0

    def take(
        self, item_no: str, lines: Sequence[Line], span: Span, rules_on: Callable[[date], Rules]
    ) -> None:
        """Count one piece by all its entries."""
        held = states(
            item_no, lines, first=span.first, last=span.last, end_of=span.end_of, changes=span.changes
        )
        facts = held[-1].facts
        self.looked_at += 1
        self.unreadable += bool(facts.unreadable)
        if facts.owner:
            self._take_visitor(held, facts, rules_on)
            return
        kind = facts.kind or UNSTATED
        self.exposure[kind] = self.exposure.get(kind, Exposure()) + exposure(held, rules_on)
        if facts.holder and not facts.destroyed:
            self.population[kind, facts.cls or UNSTATED] += 1
            self.ages[age_on(facts, span.last)] += 1
        self.happened["still_lost"] += bool(facts.lost)
        history = sorted(corrected(lines), key=order)
        self._take_history(history, facts, span)
        self._take_life(history, facts, span)

    def _take_visitor(
        self, held: Sequence[State], facts: ItemFacts, rules_on: Callable[[date], Rules]
    ) -> None:
        self.visitors += facts.holder is not None
        self.visitors_exposure += exposure(held, rules_on)

    def _take_history(self, history: Sequence[Line], facts: ItemFacts, span: Span) -> None:
        """The tests, rejections and other happenings of the year, in the order in which they happened."""
        crew, is_rejected, kind = UNSTATED, False, facts.kind or UNSTATED
        for line in history:
            try:
                crew = _crew_after(line, crew)
                cause = cause_of(line)
                if span.covers(line.occurred_on):
                    self._take_line(line, facts, crew)
                    if cause and not is_rejected:
                        self.rejected[kind] += 1
                        self.causes[kind, cause] += 1
                is_rejected = is_rejected or bool(cause)
            except UNREADABLE:
                continue  # it is counted in `unreadable`, and its piece is never good

    def _take_line(self, line: Line, facts: ItemFacts, crew: str) -> None:
        if line.kind in ("received", "lost", "found", "destroyed"):
            self.happened[line.kind] += 1
        if line.kind != "tested":
            return
        outcome = line.facts["outcome"]
        self.tests.setdefault(facts.kind or UNSTATED, Counter())[outcome] += 1
        if outcome not in ("accepted", "failed"):
            return  # void and not judged say nothing of the piece
        groups = {
            "model": _model(facts.identity),
            "lot": str(facts.identity.get("lot") or UNSTATED),
            "age": age_on(facts, line.occurred_on),
            "crew": crew,
        }
        for sort, name in groups.items():
            counted = self.failing.setdefault(sort, {}).setdefault(name, [0, 0])
            counted[0] += outcome == "failed"
            counted[1] += 1

    def _take_life(self, history: Sequence[Line], facts: ItemFacts, span: Span) -> None:
        """From the first issue, where its day is known, to the rejection; lost or destroyed first: seen so far."""
        if not facts.issued or not facts.first_issue_known or facts.first_issued_on is None:
            return
        ended = _first_day(history, span, lambda line: bool(cause_of(line)))
        gone = _first_day(history, span, lambda line: line.kind in ("lost", "destroyed"))
        over = ended is not None and (gone is None or ended <= gone)
        until = ended if over else gone or span.last
        days = ((until or span.last) - facts.first_issued_on).days
        if days >= 0:
            self.lives.setdefault(facts.kind or UNSTATED, []).append((days, over))


def _first_day(history: Sequence[Line], span: Span, is_it: Callable[[Line], bool]) -> date | None:
    for line in history:
        try:
            if line.occurred_on <= span.last and is_it(line):
                return line.occurred_on
        except UNREADABLE:
            continue
    return None


def cause_of(line: Line) -> str:
    """Why a piece was rejected by an entry: the finding of a test, the word of a look, or by hand; else empty."""
    facts: Mapping[str, Any] = line.facts
    if line.kind == "tested" and facts["outcome"] == "failed":
        codes = facts.get("codes") or [{}]
        return f"{BY_TEST}{codes[0].get('code', '')}"
    if line.kind == "inspected" and facts["outcome"] == "reject":
        words = facts.get("words") or [BY_HAND]
        return str(words[0])
    return BY_HAND if line.kind == "rejected" else ""


def age_on(facts: ItemFacts, day: date) -> str:
    """Full years since a piece was made, one of AGES; UNSTATED where the record does not say when."""
    made = facts.identity.get("made_on")
    if not made:
        return UNSTATED
    on = date.fromisoformat(made)
    years = day.year - on.year - ((day.month, day.day) < (on.month, on.day))
    return AGES[min(max(0, years), len(AGES) - 1)]


def _model(identity: Mapping[str, Any]) -> str:
    stated = [str(identity[name]) for name in ("maker", "model") if identity.get(name)]
    return ", ".join(stated) or UNSTATED


def _crew_after(line: Line, crew: str) -> str:
    """The crew that last had the piece where it could be used: whom a finding on the bench would be laid to."""
    holder = line.facts.get("holder")
    if isinstance(holder, Mapping) and holder.get("kind") in USABLE_HOLDERS:
        return str(holder.get("crew") or UNSTATED)
    return crew
