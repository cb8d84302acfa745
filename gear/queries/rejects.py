"""Rejected pieces that wait to be destroyed, what their red tags say, and batches of pieces that were."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from typing import Any

from django.utils.translation import gettext as _

from gear import wording
from gear.ledger import line_of
from gear.models import DestructionBatch, Entry, Item, ItemState
from gear.queries import described, entry_words, look_words
from gear.queries.look_words import Drawn
from gear.rules import fold
from gear.rules.correcting import corrected
from gear.rules.entries import UNREADABLE
from gear.rules.fold import ItemFacts, Line
from gear.rules.happenings import Happening
from gear.rules.hashing import canonical

MOST = 200
# No voltage: a tag outlives its reader's memory of which voltage a bench applies and which one is worked on.
TELLING = ("seconds", "leakage_ma", "resistance_mohm", "cable_temp_c", "breakdown")


@dataclass(frozen=True)
class Reject:
    """One rejected piece: what it is, where it is, since when and why. `in_hands` is true where it could be used."""

    item: Item
    identity: Mapping[str, Any]
    heading: str
    holder: str
    in_hands: bool
    since: date
    days: int
    why: Sequence[str]
    where: str
    drawing: Drawn | None
    readings: Sequence[tuple[str, str]]
    limits: Sequence[entry_words.Limit]
    by: str
    entries: Sequence[str]  # that say so


def waiting(today: date, *, item_nos: Iterable[str] | None = None) -> list[Reject]:
    """Rejected pieces that are not destroyed, the longest waiting first; at most MOST of them. Three queries."""
    states = ItemState.objects.filter(condition="rejected").select_related("item__item_type")
    if item_nos is not None:
        states = states.filter(item__item_no__in=list(item_nos))
    read = [(state, facts) for state in states.order_by("item__item_no") if (facts := _facts(state))]
    read = sorted(read, key=lambda pair: (_since(pair[1]), pair[1].item_no))[:MOST]
    lines = _lines([one.entry for _state, facts in read for one in _flags(facts)])
    return [_reject(state.item, facts, lines, today) for state, facts in read]


def count_waiting() -> int:
    """How many pieces are rejected and not destroyed."""
    return ItemState.objects.filter(condition="rejected").count()


def _facts(state: ItemState) -> ItemFacts | None:
    try:
        return fold.from_json(state.facts)
    except UNREADABLE:
        return None


def _flags(facts: ItemFacts) -> list[Happening]:
    return [flag for flag in (facts.rejected, facts.damaged, facts.failed) if flag]


def _since(facts: ItemFacts) -> date:
    return min((flag.on for flag in _flags(facts)), default=date.max)


def _lines(ids: Sequence[str]) -> dict[str, tuple[Line, str]]:
    """Entry id: (what it says, corrections applied, and the name of whoever made it)."""
    found = list(Entry.objects.filter(pk__in=ids).select_related("by"))
    found += list(Entry.objects.filter(corrects_id__in=ids).select_related("by").order_by("position"))
    names = {str(entry.id): entry.by.name if entry.by else "" for entry in found}
    return {str(line.id): (line, names[str(line.id)]) for line in corrected(map(line_of, found))}


def _reject(item: Item, facts: ItemFacts, lines: Mapping[str, tuple[Line, str]], today: date) -> Reject:
    flags = [(flag, *lines[flag.entry]) for flag in _flags(facts) if flag.entry in lines]
    stated = [line.facts for _flag, line, _by in flags]
    place = next((str(one["place"]) for one in stated if one.get("place")), "")
    tests = [one for one in stated if one.get("readings")]
    holder = facts.holder or {}
    return Reject(
        item,
        facts.identity,
        described.heading(facts.identity),
        entry_words.holder_word(holder) if holder else _("nobody"),
        facts.usable,
        _since(facts),
        (today - _since(facts)).days,
        [_why(flag, line) for flag, line, _by in flags],
        look_words.place_words(place),
        look_words.drawn(facts.kind, hand=facts.identity.get("hand"), place=place) if place else None,
        [pair for one in tests for pair in entry_words.readings(_telling(one))],
        [limit for one in tests for limit in entry_words.limits(_telling(one))],
        ", ".join(dict.fromkeys(by for _flag, _line, by in flags if by)),
        list(dict.fromkeys(flag.entry for flag, _line, _by in flags)),
    )


def _telling(facts: Mapping[str, Any]) -> Mapping[str, Any]:
    """The readings that say how it failed; who measured with what stands on its record."""
    stated = facts["readings"]
    found = facts.get("limit")
    limits = found if isinstance(found, Mapping) else {}
    return {
        "readings": {name: stated[name] for name in TELLING if stated.get(name) not in (None, False)},
        "limit": {name: limits[name] for name in limits if name != "proof_v"},
    }


def _why(flag: Happening, line: Line) -> str:
    """Why a piece is rejected, in words: what failed at the test, what the eye found, what somebody said."""
    if line.kind == "tested":
        return _("Failed its test: %s") % (
            ", ".join(entry_words.findings(line.facts)) or _("no finding is stated")
        )
    if line.kind == "inspected":
        words = [str(wording.DAMAGE.get(one, one)) for one in line.facts.get("words", [])]
        return ", ".join([*words, *filter(None, [str(line.facts.get("note") or "")])]) or _("found damaged")
    return flag.reason or str(line.facts.get("reason", ""))


@dataclass(frozen=True)
class Destroyed:
    """One piece of a batch, as the record has it."""

    item_no: str
    heading: str
    serial: str
    entry: Entry


@dataclass(frozen=True)
class Batch:
    """A batch with its pieces. `verification` follows from the entries alone: the same for ever."""

    row: DestructionBatch
    pieces: Sequence[Destroyed]
    verification: str

    @property
    def whole(self) -> bool:
        """Whether every entry that the batch names is there, is a destruction, and names the batch."""
        entries = [piece.entry for piece in self.pieces]
        return len(entries) == len(self.row.pieces) and all(
            entry.kind == "destroyed" and entry.facts.get("batch") == str(self.row) for entry in entries
        )


def batch(number: int) -> Batch | None:
    """One batch of destroyed pieces; None where there is none. Three queries."""
    row = DestructionBatch.objects.select_related("by", "witness").filter(pk=number).first()
    if row is None:
        return None
    entries = list(Entry.objects.filter(pk__in=row.pieces).select_related("item__state"))
    entries.sort(key=lambda entry: entry.item.item_no)
    pieces = [_destroyed(entry) for entry in entries]
    told = canonical([str(row), row.by.username, row.witness.username, [entry.hash for entry in entries]])
    digest = sha256(told).hexdigest()[:32]
    return Batch(row, pieces, " ".join(digest[place : place + 4] for place in range(0, 32, 4)))


def _destroyed(entry: Entry) -> Destroyed:
    facts = _facts(entry.item.state)
    identity = facts.identity if facts else {}
    return Destroyed(
        entry.item.item_no, described.heading(identity), str(identity.get("serial") or ""), entry
    )


def batches() -> list[DestructionBatch]:
    """The newest batches, newest first."""
    return list(DestructionBatch.objects.select_related("by", "witness").order_by("-number")[:MOST])
