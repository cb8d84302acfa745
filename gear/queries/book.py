"""The whole book as of a question and as of a week before it, and since when a piece has been open. Read once."""

from __future__ import annotations

import logging
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import timedelta
from itertools import groupby

from django.db.models import Q, QuerySet

from gear.ledger import line_of, rules_on, site_zone
from gear.ledger.rulebook import change_days, lines_and_rules
from gear.models import Entry, Item, Membership
from gear.queries.answers import batches
from gear.queries.fleet import States, fleet, rules_for
from gear.queries.questions import Question, service_trouble
from gear.rules import fold, moments, spells
from gear.rules.entries import Line
from gear.rules.fold import ItemFacts
from gear.rules.readiness import GOOD, Answer, SetFacts
from gear.rules.spells import Past, Spell

log = logging.getLogger(__name__)

WEEK = timedelta(days=7)
SAYING_NOTHING = ("labelled", "noted")  # no answer, holder or condition follows from these
EARLY = timedelta(days=1)  # a clock that ran ahead may have recorded something before it happened
Told = tuple[Answer, ItemFacts]


def week_before(asked: Question) -> Question:
    """The same question seven days of the calendar earlier, with all that is known for `asked`."""
    zone = site_zone()
    day = asked.as_of - WEEK
    local = asked.as_of_at.astimezone(zone)
    at = moments.end_of_day(day, zone) if asked.whole_day else local - WEEK
    return replace(asked, as_of=day, as_of_at=at)


class Book:
    """Every item as of a question: read once, and asked about twice."""

    def __init__(self, asked: Question) -> None:
        self.asked = asked
        self.states = States()
        self.not_good: set[str] = set()

    def now(self) -> Iterator[Told]:
        """The answer about every item, in order of item number, as `fleet` gives it."""
        if not self.asked.current:
            yield from fleet(self.asked)
            return
        self.states.read()
        rules, trouble = rules_for(self.asked), service_trouble(self.asked)
        for item_no, facts in self.states.facts.items():
            answer = self.states.answer(facts, self.asked, rules, trouble)
            if answer.verdict != GOOD:
                self.not_good.add(item_no)
            yield answer, facts

    def usable_at(self, then: Question) -> Iterator[Told]:
        """What was not good where it could be used at a moment before, by all that is known now; `now` comes first.

        Only pieces that something happened to since, or that are not good now, are looked at again: nothing else
        changed but the day, and a day earlier nothing is worse.
        """
        told = self._again(then) if self.asked.current else fleet(then)
        yield from ((answer, facts) for answer, facts in told if facts.usable and answer.verdict != GOOD)

    def _again(self, then: Question) -> Iterator[Told]:
        # What was received after `now` had read the book stands in no count of it.
        changed = {
            item_no: facts for item_no, facts in _facts_at(then).items() if item_no in self.states.facts
        }
        earlier = States()
        earlier.facts = self.states.facts | changed
        earlier.broken = self.states.broken
        earlier.sets = self.states.sets | _sets_at(then)
        wanted = self.not_good | changed.keys()
        rules, trouble = rules_on(then.as_of), service_trouble(then)
        if rules != rules_on(self.asked.as_of) or trouble:
            wanted = set(earlier.facts)
        for item_no, facts in earlier.facts.items():
            if facts.set_no:
                earlier.members.setdefault(facts.set_no, []).append(item_no)
        for item_no in changed:
            wanted |= set(self.states.mates_of(self.states.facts[item_no]))
            wanted |= set(earlier.mates_of(changed[item_no]))
        for item_no in sorted(wanted):
            facts = earlier.facts[item_no]
            yield earlier.answer(facts, then, rules, trouble), facts

    def spells(self, item_nos: Sequence[str]) -> dict[str, Spell | None]:
        """Since when each of these pieces has been usable and not good; None where the record cannot tell.

        The number of queries grows only by batches of pieces.
        """
        site_lines, rules = lines_and_rules(known_at=self.asked.known_at)
        found: dict[str, Spell | None] = {}
        for batch in batches(list(item_nos)):
            chains, sets, mates = _on_record(batch)
            past = Past(
                chains,
                sets,
                mates,
                rules,
                change_days(site_lines),
                site_zone(),
                moments.FOR_EVER if self.asked.current else self.asked.as_of_at,
                self.asked.as_of,
                self.asked.known_at or moments.FOR_EVER,
            )
            found |= {item_no: _spell(item_no, past) for item_no in batch}
        return found


def _spell(item_no: str, past: Past) -> Spell | None:
    try:
        return spells.spell(item_no, past)
    except Exception:
        log.exception("Since when %s has been open cannot be told", item_no)
        return None


def _touched(then: Question) -> QuerySet[Entry]:
    """Entries by which the facts of today differ from those of a moment: of what happened since, and corrections."""
    late = Entry.objects.filter(recorded_at__gt=then.as_of_at - EARLY)
    late = late.exclude(kind__in=SAYING_NOTHING)
    return late.filter(Q(occurred_at__gt=then.as_of_at) | Q(kind="corrected"))


def _facts_at(then: Question) -> dict[str, ItemFacts]:
    """The facts at a moment, by all that is known now, of every item that something happened to since."""
    touched = _touched(then).filter(item__isnull=False).values("item")
    numbers = dict(Item.objects.filter(pk__in=touched).values_list("pk", "item_no"))
    found = Entry.objects.filter(item__in=touched).order_by("item_id", "position")
    return {
        numbers[pk]: fold.fold(
            numbers[pk], map(line_of, chain), as_of_at=then.as_of_at, known_at=moments.FOR_EVER
        )
        for pk, chain in groupby(found.iterator(chunk_size=2000), key=lambda entry: entry.item_id)
        if pk is not None
    }


def _sets_at(then: Question) -> dict[str, SetFacts]:
    touched = _touched(then).filter(gear_set__isnull=False).values("gear_set")
    found = (
        Entry.objects.filter(gear_set__in=touched)
        .select_related("gear_set")
        .order_by("gear_set_id", "position")
    )
    sets = {}
    for set_no, lines in _by_set(found).items():
        if stated := fold.set_stated(lines, as_of_at=then.as_of_at, known_at=moments.FOR_EVER):
            sets[set_no] = SetFacts(set_no, stated["kind"], stated["required"])
    return sets


def _by_set(found: QuerySet[Entry]) -> dict[str, list[Line]]:
    sets: dict[str, list[Line]] = {}
    for entry in found:
        if entry.gear_set:
            sets.setdefault(entry.gear_set.set_no, []).append(line_of(entry))
    return sets


def _on_record(
    item_nos: Sequence[str],
) -> tuple[dict[str, list[Line]], dict[str, list[Line]], dict[str, list[str]]]:
    """(lines by item, lines by set, whatever was ever in a set with each item) of some items and their mates."""
    ours = Membership.objects.filter(item__item_no__in=item_nos).values("gear_set")
    joined = Membership.objects.filter(gear_set__in=ours)
    in_set: dict[int, set[str]] = {}
    for gear_set, item_no in joined.values_list("gear_set", "item__item_no"):
        in_set.setdefault(gear_set, set()).add(item_no)
    mates: dict[str, set[str]] = {}
    for members in in_set.values():
        for item_no in members:
            mates.setdefault(item_no, set()).update(members - {item_no})
    chains: dict[str, list[Line]] = {}
    wanted = Entry.objects.filter(Q(item__item_no__in=item_nos) | Q(item__in=joined.values("item")))
    for entry in wanted.select_related("item").order_by("item_id", "position").iterator(chunk_size=2000):
        if entry.item:
            chains.setdefault(entry.item.item_no, []).append(line_of(entry))
    sets = (
        Entry.objects.filter(gear_set__in=ours).select_related("gear_set").order_by("gear_set_id", "position")
    )
    return chains, _by_set(sets), {item_no: sorted(found) for item_no, found in mates.items()}


__all__ = ["Book", "Spell", "week_before"]
