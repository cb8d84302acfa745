"""Looks before use of pieces that were not good at that moment, as is known now: somebody used them on older data.

Nothing is stored for it but the look itself, with what the screen had told, and nothing has to run: what was recorded
since, or on another phone, shows here as soon as it is on record. A note closes it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from django.db.models import Exists, OuterRef, Q, QuerySet

from gear.models import Entry, Item, StaleUseNote
from gear.queries.answers import answers
from gear.queries.questions import Question, question
from gear.rules.readiness import GOOD, Answer

KEPT = timedelta(days=90)
MOST = 200
OLDEST_DATA = timedelta(hours=36)  # more than any phone answers from, and a clock that is wrong by a day
# Entries that can make a piece worse than a phone knew.
WORSE = (
    "tested",
    "inspected",
    "event",
    "held",
    "rejected",
    "destroyed",
    "lost",
    "found",
    "needs_cleaning",
    "sent_for_test",
    "sent_for_repair",
    "corrected",
    "left_set",
)
NOT_OF_DATA = frozenset({"NOT_INSPECTED", "OTHER_HOLDER"})  # what a look itself clears, and whose it is


@dataclass(frozen=True)
class StaleUse:
    """A look before use, `told` by the phone, of a piece that was not good then; `note` once it was looked into."""

    look: Entry
    answer: Answer
    told: dict
    note: StaleUseNote | None = None

    @property
    def item(self) -> Item:
        assert self.look.item is not None
        return self.look.item


def open_stale_uses(now: datetime, item: Item | None = None) -> list[StaleUse]:
    """What nobody looked into yet, the newest first."""
    looks = _looks(now).exclude(pk__in=StaleUseNote.objects.values("look_id"))
    if item is not None:
        looks = looks.filter(item=item)
    return _judged(list(looks[:MOST]), {})


def noted_stale_uses(now: datetime) -> list[StaleUse]:
    """What was looked into in the last days, with its note, whatever is known since."""
    notes = StaleUseNote.objects.select_related("entry__by", "look__item", "look__by")
    notes = notes.filter(entry__recorded_at__gte=now - KEPT).order_by("-entry__recorded_at")[:MOST]
    return _judged([note.look for note in notes], {note.look_id: note for note in notes})


def _looks(now: datetime) -> QuerySet[Entry]:
    """Accepted looks from phones that something speaks against which a phone could not know. May only be too many."""
    about = Q(item=OuterRef("item")) | Q(item__state__gear_set=OuterRef("item__state__gear_set"))
    against = (
        Entry.objects.filter(about, kind__in=WORSE, occurred_at__lte=OuterRef("occurred_at"))
        .filter(recorded_at__gt=OuterRef("occurred_at") - OLDEST_DATA)
        .exclude(kind="inspected", facts__outcome="accept")
        .exclude(kind="tested", facts__outcome="accepted")
    )
    return (
        Entry.objects.filter(kind="inspected", via="field", recorded_at__gte=now - KEPT)
        .filter(facts__scope="pre_use", facts__outcome="accept")
        .filter(Exists(against))
        .select_related("item", "by")
        .order_by("-occurred_at", "pk")
    )


def _judged(looks: Sequence[Entry], notes: dict) -> list[StaleUse]:
    found = []
    for look in looks:
        answer = _answer_at(look)
        if answer.verdict != GOOD or look.pk in notes:
            found.append(StaleUse(look, answer, look.facts.get("told") or {}, notes.get(look.pk)))
    return found


def _answer_at(look: Entry) -> Answer:
    """The answer of the moment of the look, as is known now; what the look itself clears is left out."""
    assert look.item is not None
    asked: Question = question(look.occurred_at)
    answer = answers([look.item.item_no], asked)[0]
    reasons = tuple(one for one in answer.reasons if one.code not in NOT_OF_DATA)
    return replace(answer, reasons=reasons, verdict=answer.verdict if reasons else GOOD)
