"""Whether the record may be older than it should be: put back from a backup, or without a seal known outside it.

Until somebody answers for that, nothing that it says of an item can be relied upon: a failed test or a hold that was
recorded after the backup is not in it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import QuerySet, Subquery
from django.utils.translation import gettext as _

from gear.ledger import outside
from gear.ledger.seals import SHORTEST_ANCHOR, Anchor
from gear.models import Entry, Seal
from gear.queries.health import RED, WELL, Finding

RESTORED, ACCEPTED = "restored", "restore_accepted"


@dataclass(frozen=True)
class Look:
    """The newest moment on record (None: it cannot be read), and whether a restore waits for an answer."""

    newest_at: datetime | None
    unanswered: bool


@dataclass(frozen=True)
class Waiting:
    """What waits for an answer: the entry of a restore, the newer seal that the list outside the database has, or both.

    `seal` is the newest seal that the record had when it was put back, "NUMBER:HASH" or empty: the one to compare.
    """

    entry: Entry | None
    outside: Anchor | None
    seal: str

    @property
    def outside_seal(self) -> str:
        """The seal that is missing here as NUMBER:HASH, or empty."""
        return f"{self.outside.number}:{self.outside.hash}" if self.outside else ""


def as_seal(text: str) -> Anchor | None:
    """`12:HASH`, as a seal is printed; None for anything else."""
    found = re.fullmatch(rf"([0-9]{{1,9}}):([0-9a-fA-F]{{{SHORTEST_ANCHOR},64}})", text.strip())
    return Anchor(int(found[1]), found[2].lower()) if found else None


def look() -> Look | None:
    """What every answer must know, in one query where all is well; None for a record without entries."""
    known = outside.newest()
    newest = Entry.objects.order_by("-recorded_at").annotate(
        told=Subquery(_told().values("kind")[:1]),
        sealed=Subquery(Seal.objects.filter(number=known.number if known else 0).values("hash")[:1]),
    )
    found = newest.values_list("recorded_at", "told", "sealed").first()
    if found is None:
        return None
    newest_at, told, sealed = found
    lacking = known is not None and sealed != known.hash and not _given_up(known)
    return Look(newest_at, told == RESTORED or lacking)


def waiting() -> Waiting | None:
    """What somebody must answer for before anything is told again; None where nothing is open."""
    newest = _told().first()
    entry = newest if newest is not None and newest.kind == RESTORED else None
    known = missing_outside()
    if entry is None and known is None:
        return None
    last = Seal.objects.order_by("-number").first()
    here = f"{last.number}:{last.hash}" if last else ""
    return Waiting(entry, known, str(entry.facts.get("seal", "")) if entry else here)


def open_seal() -> str | None:
    """The seal, "NUMBER:HASH" or empty, that a restore on record still waits for; None where none waits.

    A copy of such a record waits for the same: seals that were made since say nothing of what was lost before.
    """
    newest = _told().first()
    return str(newest.facts.get("seal", "")) if newest is not None and newest.kind == RESTORED else None


def epoch() -> str:
    """Another text whenever an older copy may have taken the place of it: phones then send again what they sent."""
    newest, known = _told().first(), missing_outside()
    return f"{newest.pk if newest else ''}/{known.number if known else ''}"


def newest_seal() -> dict[str, int | str] | None:
    """number, hash, and `since` (the newest restore or answer for one, or empty) of the newest seal, for whoever holds
    it outside; None while there is none."""
    seal, newest = Seal.objects.order_by("-number").first(), _told().first()
    if seal is None:
        return None
    return {"number": seal.number, "hash": seal.hash, "since": str(newest.pk) if newest else ""}


def put_back_at() -> datetime | None:
    """When an older copy was last put in place, as far as the record tells; None where it tells of none."""
    newest = _told().filter(kind=RESTORED).first() or _told().first()
    return newest.recorded_at if newest else None


def may_lack(now: datetime, *, within: timedelta) -> bool:
    """Whether the record waits for an answer or was put back within this time: what was sent before may be missing."""
    at = put_back_at()
    return waiting() is not None or (at is not None and now - at <= within)


def is_missing(seal: Anchor, since: str) -> bool:
    """Whether a seal that somebody holds outside should be here and is not.

    `since` names the newest restore or answer for one that was on record when the seal was handed out, or is empty. A
    gap that somebody has signed for after that explains that the seal is missing; a compared seal explains nothing.
    """
    if Seal.objects.filter(number=seal.number, hash=seal.hash).exists():
        return False
    told = list(_told().reverse())
    names = [str(entry.pk) for entry in told]
    if since and since not in names:
        return True
    later = told[names.index(since) + 1 :] if since else told
    return not any(entry.kind == ACCEPTED and entry.facts.get("how") == "signed" for entry in later)


def missing_outside() -> Anchor | None:
    """The newest seal of the list outside the database, where it is not here and nobody has signed for its lack."""
    known = outside.newest()
    if (
        known is None
        or Seal.objects.filter(number=known.number, hash=known.hash).exists()
        or _given_up(known)
    ):
        return None
    return known


def history() -> QuerySet[Entry]:
    """Every restore and every answer for one, the newest first."""
    return _told().select_related("by")


def check(now: datetime) -> Iterable[Finding]:
    """For the page on health: RED while a restore waits for an answer."""
    if waiting() is None:
        yield Finding(
            "RESTORE_NONE_OPEN", WELL, _("Restored record"), _("No restore waits for an answer."), now
        )
        return
    sentence = _(
        "The record was put back from a backup, or is older than the seals of this machine. Every answer is unknown "
        "until an administrator compares a seal or signs for the gap on the page Restored record."
    )
    yield Finding("RESTORED", RED, _("Restored record"), sentence, now, page="restored_record", bars=True)


def _told() -> QuerySet[Entry]:
    site = Entry.objects.filter(item__isnull=True, gear_set__isnull=True)
    return site.filter(kind__in=(RESTORED, ACCEPTED)).order_by("-position")


def _given_up(known: Anchor) -> bool:
    """Whether somebody signed for doing without this seal."""
    return _told().filter(kind=ACCEPTED, facts__outside=f"{known.number}:{known.hash}").exists()
