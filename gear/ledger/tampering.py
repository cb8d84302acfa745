"""A sample record, and every way of tampering with it: a verifier that does not find them all is broken itself."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from copy import copy
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from uuid import UUID

from django.utils.translation import gettext as _

from gear.ledger import seals
from gear.ledger.chain import payload
from gear.ledger.reading import Chain
from gear.ledger.seals import Anchor
from gear.models import Entry, Seal
from gear.rules.hashing import entry_hash, merkle_root

USERNAMES = {1: "sample-one", 2: "sample-two"}
_BEGIN = datetime(2020, 2, 3, 4, 5, 6, tzinfo=UTC)
_OTHER = {
    "id": UUID(int=99),
    "position": 7,
    "kind": "noted",
    "occurred_at": _BEGIN,
    "occurred_on": date(2019, 12, 31),
    "precision": "day",
    "recorded_at": _BEGIN,
    "by_id": 2,
    "via": "import",
    "device": "another",
    "facts": {"v": 1, "outcome": "accepted"},
    "corrects_id": UUID(int=2),
    "previous_hash": "f" * 64,
    "hash": "0" * 64,
}
_OTHER_SEAL = {
    "number": 9,
    "sealed_at": _BEGIN,
    "row_count": 5,
    "merkle_root": "f" * 64,
    "previous_hash": "f" * 64,
    "hash": "0" * 64,
}


class VerifierBroken(Exception):
    """The verifier did not find what was tampered with, or found fault with what is whole. Trust no verification."""


def prove_that_it_shows() -> None:
    """Raise VerifierBroken unless every tampering with the sample is found, and the sample itself is whole."""
    if sample_chain().first_break(USERNAMES):
        raise VerifierBroken(_broken(_("it finds fault with a whole chain")))
    for name, chain in tampered_chains():
        if not chain.first_break(USERNAMES):
            raise VerifierBroken(_broken(name))
    printed = [Anchor(3, sample_seals()[2].hash)]
    if _seal_problems(sample_seals(), _rows(), printed):
        raise VerifierBroken(_broken(_("it finds fault with whole seals")))
    for name, made, rows in tampered_seals():
        if not _seal_problems(made, rows, printed):
            raise VerifierBroken(_broken(name))


def _broken(name: str) -> str:
    return _(
        "The verifier failed on its own sample (%(name)s). Nothing was verified. Reinstall the program from a source "
        "that you trust."
    ) % {"name": name}


def sample_chain() -> Chain:
    """Five entries of one item, chained as the ledger chains them."""
    kinds = ("received", "tested", "held", "released", "event")
    entries = [
        Entry(
            id=UUID(int=number),
            position=number,
            kind=kind,
            occurred_at=_BEGIN + timedelta(days=number),
            occurred_on=date(2020, 2, 3) + timedelta(days=number),
            precision="moment",
            recorded_at=_BEGIN + timedelta(days=number, hours=1),
            by_id=1,
            via="web",
            device="sample",
            facts={"v": 1, "outcome": "failed", "number": number},
        )
        for number, kind in enumerate(kinds, start=1)
    ]
    chain = Chain("item:SAMPLE", len(entries), entries=_rechained(entries, 0))
    chain.head_hash = entries[-1].hash
    return chain


def _rechained(entries: list[Entry], start: int) -> list[Entry]:
    """The entries with positions and hashes computed anew from `start` on, as one who covers his tracks would."""
    for index in range(start, len(entries)):
        entry = entries[index]
        entry.position = index + 1
        entry.previous_hash = entries[index - 1].hash if index else ""
        entry.hash = entry_hash(
            payload(entry, subject="item:SAMPLE", by=USERNAMES[entry.by_id or 0]), entry.previous_hash
        )
    return entries


def tampered_chains() -> Iterator[tuple[str, Chain]]:
    """(what was done, the chain after it): each field edited, entries deleted, inserted, swapped, cut, rewritten."""
    size = len(sample_chain().entries)
    for index in range(size):
        for name, value in _OTHER.items():
            chain = sample_chain()
            setattr(chain.entries[index], name, value)
            yield f"{name} of entry {index + 1} edited", chain
        yield f"entry {index + 1} deleted", _with_entries(lambda them, at=index: them[:at] + them[at + 1 :])
        yield (
            f"entry {index + 1} inserted again",
            _with_entries(lambda them, at=index: them[:at] + them[at:][:1] + them[at:]),
        )
        yield f"entry {index + 1} rewritten with all after it", _rewritten(index)
        yield f"last {index + 1} entries cut off", _with_entries(lambda them, cut=index + 1: them[:-cut])
    for index in range(size - 1):
        yield (
            f"entries {index + 1} and {index + 2} swapped",
            _with_entries(lambda them, at=index: them[:at] + [them[at + 1], them[at]] + them[at + 2 :]),
        )
    yield "head missing", replace(sample_chain(), count=None)
    yield "of another item", replace(sample_chain(), subject="item:OTHER")


def _with_entries(change) -> Chain:
    chain = sample_chain()
    return replace(chain, entries=change(chain.entries))


def _rewritten(index: int) -> Chain:
    chain = sample_chain()
    chain.entries[index].facts = {"v": 1, "outcome": "accepted"}
    _rechained(chain.entries, index)
    return chain


def _rows() -> list[tuple[datetime, str]]:
    """Nine rows as (moment of recording, leaf), three for each seal."""
    return [(_BEGIN + timedelta(hours=number), entry_hash({"row": number}, "")) for number in range(9)]


def sample_seals() -> list[Seal]:
    """Three seals over the sample rows."""
    return _sealed(_rows())


def _sealed(rows: Sequence[tuple[datetime, str]]) -> list[Seal]:
    made: list[Seal] = []
    for number in (1, 2, 3):
        end = _BEGIN + timedelta(hours=3 * number - 1)
        last = made[-1] if made else None
        leaves = _between(rows, last.sealed_at if last else None, end)
        seal = Seal(
            number=number,
            sealed_at=end,
            row_count=(last.row_count if last else 0) + len(leaves),
            merkle_root=merkle_root(leaves),
            previous_hash=last.hash if last else "",
        )
        seal.hash = seals.seal_hash(seal)
        made.append(seal)
    return made


def _between(rows: Sequence[tuple[datetime, str]], after: datetime | None, until: datetime) -> list[str]:
    return [leaf for at, leaf in rows if at <= until and (after is None or at > after)]


def tampered_seals() -> Iterator[tuple[str, list[Seal], list[tuple[datetime, str]]]]:
    """(what was done, the seals, the rows after it)."""
    for index in range(3):
        for name, value in _OTHER_SEAL.items():
            made = sample_seals()
            setattr(made[index], name, value)
            yield f"{name} of seal {index + 1} edited", made, _rows()
        made = sample_seals()
        yield f"seal {index + 1} deleted", made[:index] + made[index + 1 :], _rows()
        made = sample_seals()
        yield f"seal {index + 1} inserted again", [*made[:index], copy(made[index]), *made[index:]], _rows()
    for index in range(2):
        made = sample_seals()
        made[index], made[index + 1] = made[index + 1], made[index]
        yield f"seals {index + 1} and {index + 2} swapped", made, _rows()
    for index, (at, leaf) in enumerate(_rows()):
        rows = _rows()
        rows[index] = (at, "a" * 64)
        yield f"row {index + 1} edited", sample_seals(), rows
        yield f"row {index + 1} edited and everything sealed anew", _sealed(rows), rows
        yield f"row {index + 1} deleted", sample_seals(), _rows()[:index] + _rows()[index + 1 :]
        yield f"row inserted behind row {index + 1}", sample_seals(), sorted([*_rows(), (at, leaf)])
    for index in range(8):
        rows = _rows()
        rows[index], rows[index + 1] = (
            (rows[index][0], rows[index + 1][1]),
            (rows[index + 1][0], rows[index][1]),
        )
        yield f"rows {index + 1} and {index + 2} swapped", sample_seals(), rows


def _seal_problems(
    made: Sequence[Seal], rows: Sequence[tuple[datetime, str]], printed: Sequence[Anchor]
) -> list:
    def leaves(after: datetime | None, until: datetime) -> list[str]:
        return _between(rows, after, until)

    return [
        *seals.check_seals(made, leaves),
        *seals.check_anchors(printed, {seal.number: seal for seal in made}),
    ]
