"""A truck's load in words: the sheet for the tailboard, and the pack for a day without power or network."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from gear import wording
from gear.models import Holder
from gear.queries import Question, described
from gear.queries.entry_words import holder_word
from gear.queries.ratings import Rating
from gear.rules import codes
from gear.rules.readiness import GOOD
from gear.views.reasons import said_once
from inspections.models import LoadCheck, LoadList
from inspections.queries import load_words
from inspections.queries.loads import OnRecord
from inspections.rules.loadlist import NOT_SEEN, SEEN, Cover, Found

UNDATED = "–"


@dataclass(frozen=True)
class Piece:
    """A piece on record, and what it is rated for; no rating where the record cannot be relied upon."""

    row: OnRecord
    rating: Rating | None


@dataclass(frozen=True)
class Load:
    """A truck's load as of a day: `people` and their pieces are those of the crew that were asked for."""

    truck: Holder
    asked: Question
    rule_pack: str
    back_on: date
    people: tuple[Holder, ...]
    pieces: tuple[Piece, ...]
    list: LoadList | None
    covers: tuple[Cover, ...]
    walk: LoadCheck | None


@dataclass(frozen=True)
class Told:
    """One piece. `verdict` is one of good, stop, unknown; `early` says that it runs out before the return."""

    item_no: str
    code: str
    what: str
    set_no: str
    use: str
    verdict: str
    words: str
    due: str
    why: str
    early: bool


@dataclass(frozen=True)
class Group:
    """What the truck has, or one of its people."""

    name: str
    rows: tuple[Told, ...]


@dataclass(frozen=True)
class Needed:
    what: str
    aboard: int
    short: int


@dataclass(frozen=True)
class Paper:
    """The papers of one truck."""

    truck: str
    as_of: str
    zone: str
    rule_pack: str
    crew: tuple[str, ...]
    leaving: str
    back: str
    cls: str
    needed: tuple[Needed, ...]
    groups: tuple[Group, ...]
    walk: str
    not_seen: tuple[str, ...]
    count: int
    blocked: tuple[Told, ...]


def tell(load: Load, *, made_at: datetime, zone: str) -> Paper:
    """The load as page and paper show it. `made_at` is aware."""
    rows = {piece.row.item_no: _told(piece, load) for piece in load.pieces}
    holders = [load.truck, *load.people]
    groups = tuple(
        Group(
            holder_word(one.as_fact()),
            tuple(rows[piece.row.item_no] for piece in load.pieces if piece.row.holder == one.name),
        )
        for one in holders
    )
    listed = load.list
    return Paper(
        truck=holder_word(load.truck.as_fact()),
        as_of=_as_of(load, made_at, zone),
        zone=zone,
        rule_pack=load.rule_pack or _("none: the rules cannot be read, so no piece is good"),
        crew=tuple(one.name for one in load.people),
        leaving=wording.day(load.asked.as_of),
        back=wording.day(load.back_on),
        cls=_("%(name)s, list version %(version)d")
        % {"name": listed.truck_class.name, "version": listed.version}
        if listed
        else "",
        needed=tuple(Needed(load_words.line_words(one.line), one.aboard, one.short) for one in load.covers),
        groups=tuple(one for one in groups if one.rows or one is groups[0]),
        walk=_walk(load),
        not_seen=tuple(str(one["no"]) for one in load.walk.pieces if one["state"] == NOT_SEEN)
        if load.walk
        else (),
        count=len(rows),
        blocked=tuple(one for one in rows.values() if one.verdict != GOOD or one.early),
    )


def _as_of(load: Load, made_at: datetime, zone: str) -> str:
    """The moment at which it was made; for a day to come, that day as well."""
    local = made_at.astimezone(ZoneInfo(zone))
    made = f"{wording.day(local.date())}, {date_format(local, 'H:i')}"
    if load.asked.as_of == local.date():
        return made
    return _("%(day)s, worked out %(made)s") % {"day": wording.day(load.asked.as_of), "made": made}


def _told(piece: Piece, load: Load) -> Told:
    row = piece.row
    through = row.last_day
    found = Found(row.item_no, SEEN, row.answer.verdict, through)
    early = found.early(load.back_on)
    why = [wording.sentence(one) for one in said_once(row.answer.reasons)]
    if early and through:
        why.append(
            _("Good to %(day)s, you return %(back)s.")
            % {"day": wording.day(through), "back": wording.day(load.back_on)}
        )
    good = row.answer.verdict == GOOD
    return Told(
        item_no=row.item_no,
        code=codes.grouped(row.facts.label) if row.facts.label else _("no label"),
        what=described.heading(row.facts.identity),
        set_no=row.facts.set_no or "",
        use=use_words(piece.rating),
        verdict=row.answer.verdict,
        words=_verdict(row.answer.verdict),
        due=_due(through) if good else UNDATED,
        why=" ".join(why),
        early=early,
    )


def use_words(rating: Rating | None) -> str:
    """`17,000 V` for rubber and cover, `grade 2: 15 kA for 15 cycles` for a jumper; a dash where nothing is known."""
    if rating is None:
        return UNDATED
    decides = rating.set_grade or rating.grade
    if decides is not None:
        if decides.grade is None or not rating.withstand_ka:
            return UNDATED
        parts = [
            _("%(ka)s kA, %(cycles)s cycles") % {"ka": figure.value, "cycles": cycles}
            for cycles, figure in rating.withstand_ka
        ]
        return _("grade %(grade)s: %(limits)s") % {"grade": decides.grade, "limits": "; ".join(parts)}
    return described.volts(rating.max_use) or UNDATED


def _verdict(verdict: str) -> str:
    return {"good": _("good"), "stop": _("STOP")}.get(verdict, _("CAN'T SAY"))


def _due(through: date | None) -> str:
    return wording.day(through) if through else _("no date")


def _walk(load: Load) -> str:
    if load.walk is None:
        return _("Nobody has walked round it with a phone yet.")
    local = timezone.localtime(load.walk.finished_at)
    told = {
        "at": f"{wording.day(local.date())}, {date_format(local, 'H:i')}",
        "who": load.walk.by.name,
        "seen": load.walk.seen,
        "expected": load.walk.expected,
    }
    return _("Last walk %(at)s, %(who)s: %(seen)d of %(expected)d seen.") % told
