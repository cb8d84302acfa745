"""What records lack: counted over the whole book or one depot, and listed with the entry that can be corrected."""

from __future__ import annotations

import logging
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Q

from gear.models import Entry, ItemState
from gear.queries.whereabouts import places
from gear.rules import fold
from gear.rules.particulars import BY_CODE, VERDICT, lacking
from gear.rules.whereabouts import Place, Places, place_of
from inspections.queries import register, tests_in_force

log = logging.getLogger(__name__)

CUSTODY = ("issued", "moved")
UNREADABLE = "RECORD_UNREADABLE"


def need_of(code: str) -> str:
    """What a lack stands in the way of; of a record that cannot be read nothing can be answered."""
    return BY_CODE[code].need if code in BY_CODE else VERDICT


@dataclass(frozen=True)
class Lacking:
    """One piece whose record lacks something. `codes` are those of gear.rules.particulars, or UNREADABLE."""

    pk: int
    item_no: str
    kind: str | None
    identity: dict
    holder: str
    place: Place
    codes: tuple[str, ...]
    test: str = ""  # the entry of the test that dates it


@dataclass(frozen=True)
class Lacks:
    """The pieces that lack something, in order of item number, out of how many looked at."""

    pieces: Sequence[Lacking]
    looked_at: int

    @property
    def counts(self) -> Counter[str]:
        return Counter(code for piece in self.pieces for code in piece.codes)

    @property
    def needs(self) -> Counter[str]:
        """How many pieces lack something for each need; a piece counts once for each."""
        return Counter(need for piece in self.pieces for need in {need_of(code) for code in piece.codes})

    def with_lack(self, code: str) -> list[Lacking]:
        return [piece for piece in self.pieces if code in piece.codes]


def lacks(*, depot: str | None = None) -> Lacks:
    """What the records lack of all pieces that are not destroyed, or of those in one depot by name.

    Four queries, however many there are.
    """
    without, unknown = _tests_without_instrument()
    where, looked_at, found = places(), 0, []
    for pk, item_no, stored in _states():
        one = _looked_at(pk, item_no, stored, where, without, unknown)
        if one is None or (depot is not None and one.place.depot != depot):
            continue
        looked_at += 1
        if one.codes:
            found.append(one)
    return Lacks(found, looked_at)


def _states() -> Iterator[tuple[int, str, dict]]:
    rows = ItemState.objects.order_by("item__item_no").values_list("item_id", "item__item_no", "facts")
    return rows.iterator(chunk_size=2000)


def _looked_at(
    pk: int, item_no: str, stored: dict, where: Places, without: set[str], unknown: set[str]
) -> Lacking | None:
    try:
        facts = fold.from_json(stored)
        if facts.destroyed or facts.owner:  # what a visitor's record lacks is the visitor's to mend
            return None
        codes = tuple(lacking(facts, without_instrument=without, not_on_file=unknown))
        holder = facts.holder or {}
        test = facts.accepted.entry if facts.accepted else ""
        named = str(holder.get("name", ""))
        return Lacking(pk, item_no, facts.kind, facts.identity, named, place_of(holder, where), codes, test)
    except (KeyError, TypeError, ValueError, AttributeError):
        log.warning("The state of %s cannot be read", item_no)
        return Lacking(pk, item_no, None, {}, "", Place(), (UNREADABLE,))


def _tests_without_instrument() -> tuple[set[str], set[str]]:
    """(entries of the tests that name neither instrument nor lab, of those that name none that is on file).

    By the entry of the test itself, which its corrections name.
    """
    on_file, without, unknown = register(), set(), set()
    doubtful = Q(instrument="", lab="") | Q(calibration="not_on_file")
    doubted = tests_in_force().filter(doubtful, outcome="accepted")
    rows = doubted.values_list("of", "instrument", "lab")  # type: ignore[misc]  # `of` is annotated
    for of, *names in rows.iterator(chunk_size=2000):
        named = [name.casefold() for name in names if name]
        if not named:
            without.add(str(of))
        elif not any(name in on_file for name in named):
            unknown.add(str(of))
    return without, unknown


def fixing_entries(pieces: Iterable[Lacking], code: str) -> dict[int, UUID]:
    """The entry to correct, by item: the receipt for what the piece is, the test, or the first issue; two queries."""
    wanted = {piece.pk: piece for piece in pieces}
    if code == UNREADABLE:
        return {}
    if code in ("INSTRUMENT", "INSTRUMENT_NOT_ON_FILE"):
        return {pk: UUID(piece.test) for pk, piece in wanted.items() if piece.test}
    entries = Entry.objects.filter(item_id__in=list(wanted))
    if BY_CODE[code].field:
        entries = entries.filter(kind="received")
    else:
        entries = entries.filter(kind__in=CUSTODY, facts__first_issue_known=False)
    return dict(entries.order_by("item_id", "position").values_list("item_id", "pk"))
