"""What entries said when they were recorded, and by which seal they are covered, for people without the database."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from gear.ledger import line_of, payload, reading
from gear.ledger.chain import utc_text
from gear.ledger.seals import leaves_of_windows
from gear.models import Entry, Seal, User
from gear.rules.correcting import corrected
from gear.rules.entries import is_identity, order
from gear.rules.hashing import merkle_paths, merkle_root

LATER_SEALS = 31  # a printed seal of up to a month later connects to the one that covers an entry
BATCH = 400


@dataclass(frozen=True)
class Record:
    """The entries of one item by position. `problem` says in a few words why they cannot be relied upon, or nothing."""

    subject: str
    entries: Sequence[Entry]
    problem: str
    usernames: Mapping[int, str]

    def versions(self, of: UUID) -> list[Entry]:
        """An entry and every correction of it, the one that counts last."""
        found = [entry for entry in self.entries if entry.corrects_id == of]
        found.sort(key=lambda entry: (entry.recorded_at, str(entry.pk)))
        return [entry for entry in self.entries if entry.pk == of] + found

    def identity_at(self, position: int) -> Entry | None:
        """The entry that says what the item is, as the record stood with the entry at `position`: the receipt, or
        its last correction. None where none can be read."""
        known = [entry for entry in self.entries if entry.position <= position]
        lines = sorted(corrected(line_of(entry) for entry in known), key=order)
        told = [line.id for line in lines if line.kind == "received" and _says_what(line.facts)]
        if not told:
            return None
        return [one for one in self.versions(told[-1]) if one.position <= position][-1]

    def stated(self, entry: Entry) -> dict[str, Any]:
        """Every field that the hash of an entry covers, with the hash of the entry before it as `previous`."""
        by = self.usernames[entry.by_id] if entry.by_id else ""
        return {**payload(entry, subject=self.subject, by=by), "previous": entry.previous_hash}


def _says_what(facts: Any) -> bool:
    return isinstance(facts, Mapping) and is_identity(facts.get("identity"))


def records_of(items: Collection[int]) -> dict[int, Record]:
    """The whole record of each item by primary key, its chain checked; four queries for every 400 items."""
    usernames = dict(User.objects.values_list("pk", "username"))
    wanted, found = sorted(items), {}
    for start in range(0, len(wanted), BATCH):
        for pk, chain in reading.item_chains(wanted[start : start + BATCH]).items():
            found[pk] = Record(chain.subject, chain.entries, chain.problem(usernames), usernames)
    return found


@dataclass(frozen=True)
class Proofs:
    """Where sealed entries stand among the leaves of their seals, and those seals. All of it is ready for JSON.

    `leaves`: {entry: {"seal", "index", "count", "path"}}; an entry that no seal covers yet is not there.
    `seals`: {number: what its hash covers, its "previous_hash" and its "hash"}, with up to a month of seals after.
    """

    leaves: Mapping[UUID, Mapping[str, Any]]
    seals: Mapping[int, Mapping[str, Any]]


def proofs_of(entries: Iterable[Entry]) -> Proofs:
    """The proofs of entries, in a number of queries that does not grow with them.

    A seal whose rows are not those that were sealed proves nothing and is left out; verify_ledger tells of it.
    """
    wanted = {entry.pk: entry for entry in entries}
    first = min((entry.recorded_at for entry in wanted.values()), default=None)
    seals = list(Seal.objects.filter(sealed_at__gte=first).order_by("number")) if first else []
    before = Seal.objects.filter(number=seals[0].number - 1).first() if seals else None
    covered: dict[int, list[Entry]] = {}
    ends = [seal.sealed_at for seal in seals]
    for entry in wanted.values():
        place = bisect_left(ends, entry.recorded_at)
        if place < len(seals):
            covered.setdefault(place, []).append(entry)
    places = sorted(covered)
    windows = [(_end(seals, place, before), ends[place]) for place in places]
    leaves: dict[UUID, Mapping[str, Any]] = {}
    for place, hashes in zip(places, leaves_of_windows(windows), strict=True):
        leaves |= _placed(seals[place], hashes, covered[place])
    shown = {one for place in places for one in range(place, min(place + LATER_SEALS + 1, len(seals)))}
    return Proofs(leaves, {seals[one].number: _as_stated(seals[one]) for one in sorted(shown)})


def _end(seals: Sequence[Seal], place: int, before: Seal | None) -> Any:
    if place:
        return seals[place - 1].sealed_at
    return before.sealed_at if before else None


def _placed(seal: Seal, hashes: Sequence[str], entries: Iterable[Entry]) -> dict[UUID, Mapping[str, Any]]:
    try:
        if merkle_root(hashes) != seal.merkle_root:
            return {}
    except ValueError:
        return {}
    places = {leaf: index for index, leaf in enumerate(hashes)}
    found = {entry.pk: places[entry.hash] for entry in entries if entry.hash in places}
    paths = merkle_paths(hashes, set(found.values()))
    return {
        pk: {"seal": seal.number, "index": index, "count": len(hashes), "path": paths[index]}
        for pk, index in found.items()
    }


def _as_stated(seal: Seal) -> dict[str, Any]:
    return {
        "number": seal.number,
        "sealed_at": utc_text(seal.sealed_at),
        "row_count": seal.row_count,
        "merkle_root": seal.merkle_root,
        "previous_hash": seal.previous_hash,
        "hash": seal.hash,
    }
