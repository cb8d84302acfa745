"""Seals: a Merkle root and a count over everything recorded since the seal before, fit to be printed and kept outside.

What a seal covers is told by the moment of recording alone: later than the seal before, not later than its own.
That is exact on both databases, because every writer joins the writers (gear.ledger.writers): a seal waits for
acts under way, and an act that begins after it is recorded after it, whatever the clock of its server says.

Rows since the last seal are guarded by the hash chains only, and the newest seal of all is vouched for by nothing
inside the database: compare it with a printed one.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.apps import apps
from django.db import transaction
from django.db.models import F, Q, QuerySet
from django.utils.translation import gettext as _

from gear.ledger.chain import utc_text
from gear.ledger.problems import Problem
from gear.ledger.writers import hold_writers
from gear.models import (
    AppendOnly,
    Entry,
    GivenAnswer,
    HoldBatch,
    ImportedFile,
    LabelPrint,
    Photo,
    Refusal,
    Seal,
    Submission,
)
from gear.models.evidence import Sealed
from gear.rules.hashing import entry_hash, merkle_root

# Sealed tables of this app and what dates their rows, in the order in which their leaves stand.
DATED_BY: dict[type[AppendOnly], str] = {
    Entry: "recorded_at",
    Refusal: "at",
    GivenAnswer: "at",
    ImportedFile: "at",
    Submission: "at",
    HoldBatch: "at",
    LabelPrint: "at",
    Photo: "at",
}
SHORTEST_ANCHOR = 16  # symbols of a printed hash, 64 bits: too many to find another seal that begins alike
WINDOWS_AT_ONCE = 100


def dated_by() -> dict[type[AppendOnly], str]:
    """Every sealed table and what dates its rows; those of the other apps stand after ours, by name.

    A person stands in a leaf by username, under `by`, and an item by its number, under `item`.
    """
    found = [model for model in apps.get_models() if issubclass(model, Sealed) and model not in DATED_BY]
    found.sort(key=lambda model: model._meta.label_lower)
    return DATED_BY | dict.fromkeys(found, "at")


Leaves = Callable[[datetime | None, datetime], list[str]]
Window = tuple[datetime | None, datetime]  # later than the first, not later than the second


@dataclass(frozen=True)
class Anchor:
    """A seal as it was printed or mailed: its number, and its hash or at least the first 16 symbols of it."""

    number: int
    hash: str


def last_seal() -> Seal | None:
    """The newest seal; None when there is none yet, which is not an error."""
    return Seal.objects.order_by("-number").first()


def make_seal(now: datetime) -> Seal | None:
    """Seal everything recorded until `now` (aware); None when nothing was recorded since the last seal.

    Raises WritersBusy when an act under way takes too long.
    """
    with transaction.atomic():
        hold_writers()
        last = last_seal()
        leaves = leaves_between(last.sealed_at if last else None, now)
        if not leaves:
            return None
        seal = Seal(
            number=last.number + 1 if last else 1,
            sealed_at=now,
            row_count=(last.row_count if last else 0) + len(leaves),
            merkle_root=merkle_root(leaves),
            previous_hash=last.hash if last else "",
        )
        seal.hash = seal_hash(seal)
        seal.save()
        return seal


def seal_hash(seal: Seal) -> str:
    """What a printed seal states: the hash over its own figures and the seal before it."""
    stated = {
        "number": seal.number,
        "sealed_at": utc_text(seal.sealed_at),
        "row_count": seal.row_count,
        "merkle_root": seal.merkle_root,
    }
    return entry_hash(stated, seal.previous_hash)


def leaves_between(after: datetime | None, until: datetime) -> list[str]:
    """The leaf of every evidence row recorded after `after` and not later than `until`; the order is fixed."""
    return leaves_of_windows([(after, until)])[0]


def leaves_of_windows(windows: Sequence[Window]) -> list[list[str]]:
    """`leaves_between` of each of some windows that do not overlap, in the order given, in one query a table."""
    found: list[list[str]] = [[] for _window in windows]
    by_end = sorted(range(len(windows)), key=lambda place: windows[place][1])
    ends = [windows[place][1] for place in by_end]
    for start in range(0, len(windows), WINDOWS_AT_ONCE):
        wanted = windows[start : start + WINDOWS_AT_ONCE]
        for model, dated in dated_by().items():
            rows = _recorded(model, dated, wanted).order_by(dated, "pk")
            for moment, leaf in _leaves(rows, model, dated):
                found[by_end[bisect_left(ends, moment)]].append(leaf)
    return found


def _recorded(model: type[AppendOnly], dated: str, windows: Sequence[Window]) -> QuerySet[AppendOnly]:
    within = Q()
    for after, until in windows:
        within |= Q(**{f"{dated}__lte": until} | ({f"{dated}__gt": after} if after else {}))
    return model._default_manager.filter(within)


def _leaves(
    rows: QuerySet[AppendOnly], model: type[AppendOnly], dated: str
) -> Iterator[tuple[datetime, str]]:
    """(moment of recording, leaf) of every row."""
    if model is Entry:
        yield from rows.values_list(dated, "hash").iterator(chunk_size=2000)
        return
    names = {"by": F("by__username"), "item": F("item__item_no")}
    has = {field.name for field in model._meta.fields}
    rows = rows.defer("content") if "content" in has else rows  # the bytes of files are under their own hash
    rows = rows.annotate(**{f"{name}_name": of for name, of in names.items() if name in has})
    for row in rows.iterator(chunk_size=2000):
        by, item = getattr(row, "by_name", None), getattr(row, "item_name", None)
        leaf = _hashed(row, username=by or "", item_no=item or "")
        yield getattr(row, dated), leaf


def leaf_of(row: Sealed) -> str:
    """The leaf of a row that is about to be stored. Raises ValueError where it has no canonical form."""
    item, by = getattr(row, "item", None), getattr(row, "by", None)
    return _hashed(row, username=by.username if by else "", item_no=item.item_no if item else "")


def _hashed(row: AppendOnly, *, username: str, item_no: str) -> str:
    later: frozenset[str] = getattr(row, "LATER", frozenset())
    stated = {
        field.name: plain(getattr(row, field.attname))
        for field in row._meta.fields
        if field.name not in _APART
        # A column that came later leaves the leaf of a row without it as it was sealed.
        and not (field.name in later and getattr(row, field.attname) is None)
    }
    return entry_hash({"table": row._meta.model_name, **stated, "by": username, "item": item_no}, "")


_APART = frozenset({"by", "item", "content"})  # by name, by number, and by its own checksum


def plain(value: object) -> object:
    if isinstance(value, datetime):
        return utc_text(value)
    return value if value is None or isinstance(value, int | str | list | dict) else str(value)


def _with_before(seals: Iterable[Seal]) -> Iterator[tuple[Seal, Seal | None]]:
    """Each seal with the one before it."""
    before = None
    for seal in seals:
        yield seal, before
        before = seal


@dataclass(frozen=True)
class Checked:
    """What was found of one seal, and when the rows were recorded that it no longer vouches for (no `until`: none)."""

    problem: Problem
    rows_after: datetime | None = None
    rows_until: datetime | None = None


def check_seals(seals: Iterable[Seal], leaves: Leaves) -> Iterator[Checked]:
    """Recompute seals one after the other, oldest first; every difference is told, each with what to do."""
    for seal, before in _with_before(seals):
        number, after = seal.number, before.sealed_at if before else None
        if number != (before.number + 1 if before else 1):
            yield Checked(_problem(seal, "SEAL_MISSING", _("A seal before it is missing.")))
        elif seal.previous_hash != (before.hash if before else ""):
            yield Checked(_problem(seal, "SEAL_OUT_OF_ORDER", _("It does not follow the seal before it.")))
        if seal.hash != seal_hash(seal) or (after and seal.sealed_at <= after):
            yield Checked(_problem(seal, "SEAL_CHANGED", _("It was changed after it was made.")))
        found = leaves(after, seal.sealed_at)
        sealed = seal.row_count - (before.row_count if before else 0)
        if len(found) != sealed:
            why = _("%(sealed)s rows were sealed, %(found)s are there.") % {
                "sealed": sealed,
                "found": len(found),
            }
            yield Checked(_problem(seal, "ROWS_COUNT", why), after, seal.sealed_at)
        elif not found or _root_of(found) != seal.merkle_root:
            why = _("The rows that it covers are not those that were sealed.")
            yield Checked(_problem(seal, "ROWS_CHANGED", why), after, seal.sealed_at)


def _root_of(leaves: Sequence[str]) -> str:
    try:
        return merkle_root(leaves)
    except ValueError:
        return ""  # a leaf is no hash any more


def _problem(seal: Seal, code: str, why: str) -> Problem:
    sentence = _(
        "Seal %(number)s of %(at)s: %(why)s Compare the record with a backup from before the change, and with a "
        "seal printed since; rely on nothing recorded in between."
    ) % {"number": seal.number, "at": utc_text(seal.sealed_at), "why": why}
    return Problem(f"seal:{seal.number}", code, sentence)


def check_anchors(anchors: Iterable[Anchor], made: Mapping[int, Seal]) -> Iterator[Problem]:
    """Compare seals held outside with those of the same number that are there."""
    for anchor in anchors:
        seal = made.get(anchor.number)
        if seal is None:
            code, why = (
                "ANCHOR_MISSING",
                _("is not there: this is an older copy of the record, or its end was cut off."),
            )
        elif len(anchor.hash) < SHORTEST_ANCHOR or not seal.hash.startswith(anchor.hash.lower()):
            code, why = "ANCHOR_DIFFERS", _("is another than the printed one: what it covers was rewritten.")
        else:
            continue
        sentence = _(
            "Printed seal %(number)s %(why)s Check that it was typed as printed; if it was, rely on nothing in this "
            "record and restore a backup that matches the printed seal."
        ) % {"number": anchor.number, "why": why}
        yield Problem(f"anchor:{anchor.number}", code, sentence)
