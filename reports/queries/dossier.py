"""One piece as of a minute, twice: as is known now, and as the system knew it and told it then.

Everything is asked for two moments that are stated, `as_of` and `known_at`, and rests on nothing that was recorded
after the second: the same two moments give the same record, and the same hash, as long as the record holds together.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Count, Q

from gear import queries
from gear.ledger import line_of, rules_on, site_zone
from gear.ledger.chain import utc_text
from gear.ledger.seals import leaf_of
from gear.models import Depot, Entry, GivenAnswer, Item, Photo, Refusal, Seal, User
from gear.queries import Seen, history
from gear.queries.photos import visible
from gear.queries.proofs import records_of
from gear.rules import correcting, moments
from gear.rules.readiness import Rules
from reports.rules import dossier_check

BEFORE = timedelta(hours=24)  # of the answers that were given; the whole of that day is shown as well
MOST_REFUSALS = 100
UNRELIABLE = frozenset({"CHAIN_BROKEN", "CLOCK_BEHIND", "PACK_REFUSED", "RECORD_UNREADABLE", "RESTORED"})
LONGEST_SUBJECT = Refusal._meta.get_field("subject").max_length
_WORD = re.compile(r"[A-Za-z0-9][A-Za-z0-9._#-]*")


@dataclass(frozen=True)
class Lot:
    """The other pieces of one make and lot, and how many of them are where somebody could use them."""

    lot: str
    others: int = 0
    usable: int = 0


@dataclass(frozen=True)
class Dossier:
    """What is on record of a piece as of a moment. `true_then` is as known at `known_at`, `known_then` as known then.

    `shown` are the entries about that moment or before, newest first; `late` those of them that were not known then,
    and the corrections of that sort. `after` counts what happened later and is left out. `content` is what the code
    covers.
    """

    item: Item
    as_of: datetime
    known_at: datetime
    true_then: Seen
    known_then: Seen
    rules: Rules
    rules_known_then: Rules
    shown: Sequence[history.Told]
    tests: Sequence[history.Test]
    late: Sequence[tuple[history.Told, history.Correction | None]]
    after: int
    answers: Sequence[GivenAnswer]
    photos: Sequence[Photo]
    refusals: Sequence[Refusal]
    lot: Lot
    seal: Seal | None
    content: Mapping[str, Any]
    stated: Sequence[Mapping[str, Any]]

    @property
    def code(self) -> str:
        return dossier_check.code_of(dict(self.content))

    @property
    def reliable(self) -> bool:
        """Whether the record holds together, so that its code means anything."""
        return not any(reason.code in UNRELIABLE for reason in self.true_then.answer.reasons)


def dossier(
    item: Item, as_of: datetime, known_at: datetime, *, to: User | None, depot: Depot | None
) -> Dossier:
    """The record of a piece as of a moment (aware), as known at another. A fixed number of queries.

    `to` and `depot` narrow the photos to those that the reader may see; the code does not depend on them.
    """
    day = moments.local_day(as_of, site_zone())
    asked = queries.question(as_of, known_at=known_at)
    # As a screen asked then: for the day, with all that was on record by that moment, dated by the hour or not.
    then = queries.question(day, known_at=as_of)
    true_then, known_then = queries.seen(item.item_no, asked), queries.seen(item.item_no, then)
    identity = true_then.facts.identity if true_then.facts else {}
    taken = list(Photo.objects.filter(item=item, at__lte=known_at).order_by("at", "pk"))
    seen_by = set(visible(to, depot=depot).filter(item=item).values_list("pk", flat=True)) if to else set()
    mine = [photo for photo in taken if photo.pk in seen_by]
    told = history.record_of(item, identity, photos=_by_entry(mine), known_at=known_at)
    shown = [one for one in told.entries if _reaches(one, as_of, day)]
    ids = {str(one.entry.pk) for one in shown}
    answers, refusals = _answers(item, as_of, known_at), _refusals(item, known_at)
    record = records_of([item.pk])[item.pk]
    known = [entry for entry in record.entries if entry.recorded_at <= known_at]
    content = {
        "item": item.item_no,
        "as_of": utc_text(as_of),
        "known_at": utc_text(known_at),
        "true_then": _view(true_then),
        "known_then": _view(known_then),
        "answers": [{"id": str(one.pk), "leaf": leaf_of(one)} for one in answers],
        "refusals": [{"id": str(one.pk), "leaf": leaf_of(one)} for one in refusals],
        "photos": [{"entry": str(one.entry_id), "sha256": one.sha256} for one in taken],
        "entries": [{"id": str(one.pk), "hash": one.hash} for one in known],
    }
    return Dossier(
        item,
        as_of,
        known_at,
        true_then,
        known_then,
        rules_on(asked.as_of, known_at=known_at),
        rules_on(day, known_at=as_of),
        shown,
        [test for test in told.tests if test.entry in ids],
        list(_late(shown, as_of)),
        len(told.entries) - len(shown),
        answers,
        [photo for photo in mine if str(photo.entry_id) in ids],
        refusals,
        _lot(item, identity),
        Seal.objects.order_by("-number").first(),
        content,
        [record.stated(one) for one in known],
    )


def _by_entry(photos: Iterable[Photo]) -> Mapping[UUID, list[Photo]]:
    found: dict[UUID, list[Photo]] = {}
    for photo in photos:
        found.setdefault(photo.entry_id, []).append(photo)
    return found


def _reaches(told: history.Told, as_of: datetime, day: date) -> bool:
    """Whether an entry, or what it was corrected to, is about the moment, before it, or that day without a time."""
    entry = told.entry
    if entry.occurred_at <= as_of or entry.precision == "day" and entry.occurred_on <= day:
        return True
    return any((at := _happened(told.entry, one)) is not None and at <= as_of for one in told.corrections)


def _happened(entry: Entry, correction: history.Correction) -> datetime | None:
    """The moment that a correction gives an entry; None where it withdraws it or cannot be read."""
    facts = correction.entry.facts
    new = facts.get("replacement") if isinstance(facts, Mapping) else None
    try:
        return correcting.replaced(line_of(entry), new).occurred_at if new else None
    except (KeyError, TypeError, ValueError):
        return None


def _late(
    shown: Iterable[history.Told], as_of: datetime
) -> Iterable[tuple[history.Told, history.Correction | None]]:
    for one in shown:
        if one.entry.recorded_at > as_of:
            yield one, None
        for correction in one.corrections:
            if correction.entry.recorded_at > as_of:
                yield one, correction


def _answers(item: Item, as_of: datetime, known_at: datetime) -> list[GivenAnswer]:
    """What screens told of the piece from 24 hours before the moment to the end of that day, in order of showing."""
    zone = site_zone()
    day = moments.local_day(as_of, zone)
    first = min(as_of - BEFORE, moments.start_of_day(day, zone))
    last = moments.end_of_day(day, zone)
    shown = Q(shown_at__range=(first, last)) | Q(shown_at=None, at__range=(first, last))
    rows = GivenAnswer.objects.filter(shown, item=item, at__lte=known_at)
    rows = rows.select_related("item", "by__depot", "by__crew__depot")
    return sorted(rows, key=lambda one: (told_at(one), str(one.pk)))


def told_at(given: GivenAnswer) -> datetime:
    """When the screen showed it."""
    return given.shown_at or given.at


def _refusals(item: Item, known_at: datetime) -> list[Refusal]:
    """What was tried on the piece and refused, the newest first.

    An act on many pieces names as many as fit, and the refusal itself the one that it was refused for.
    """
    first = Entry.objects.filter(item=item).order_by("position").values_list("recorded_at", flat=True).first()
    named = Q(subject__contains=item.item_no) | Q(detail__contains=item.item_no)
    rows = Refusal.objects.filter(named, at__lte=known_at)
    rows = rows.filter(at__gte=first) if first else rows
    newest = rows.select_related("by").order_by("-at", "pk")[: 10 * MOST_REFUSALS]
    return [one for one in newest if item.item_no in _words_of(one)][:MOST_REFUSALS]


def _words_of(refusal: Refusal) -> set[str]:
    """Every word that could be the number of a piece; the last of a subject that was cut off may be half of one."""
    words = _WORD.findall(refusal.subject)
    if len(refusal.subject) == LONGEST_SUBJECT:
        words = words[:-1]
    words += _WORD.findall(refusal.detail)
    return {*words, *(word.rstrip(".") for word in words)}


def _lot(item: Item, identity: Mapping[str, Any]) -> Lot:
    lot = str(identity.get("lot") or "")
    if not lot:
        return Lot("")
    alike = Item.objects.filter(lot=lot, item_type=item.item_type_id).exclude(pk=item.pk)
    count = alike.aggregate(others=Count("pk"), usable=Count("pk", filter=Q(state__usable_now=True)))
    return Lot(lot, count["others"], count["usable"])


def _view(seen: Seen) -> dict[str, Any]:
    """An answer and what it rests on, in plain values: codes and dates, no words."""
    answer, facts = seen.answer, seen.facts
    return {
        "verdict": answer.verdict,
        "good_through": _plain(answer.good_through),
        "set_good_through": _plain(answer.set_good_through),
        "rule_pack": answer.rule_pack,
        "clocks": [{"name": one.name, "good_through": _plain(one.good_through)} for one in answer.clocks],
        "reasons": [{"code": one.code, "values": _plain(one.values)} for one in answer.reasons],
        "condition": facts.condition if facts else None,
        "holder": _plain(facts.holder) if facts else None,
        "since": _plain(facts.holder_since) if facts else None,
        "label": facts.label if facts else None,
        "identity": _plain(facts.identity) if facts else None,
        "set_no": facts.set_no if facts else None,
        "mates": [{"item": mate.item_no, "verdict": told.verdict} for told, mate in seen.mates],
    }


def _plain(value: Any) -> Any:
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(name): _plain(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return value if value is None or isinstance(value, bool | int | str) else str(value)
