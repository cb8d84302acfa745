"""The change-out list in words, for page and paper."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from gear import wording
from gear.queries import described
from gear.queries.entry_words import holder_word
from gear.rules.whereabouts import Place
from reports.rules.changeout import ChangeOut, Crew, Row
from reports.rules.overdue import Scope
from reports.wording import sentences
from reports.wording.told import Phone

TITLE = gettext_lazy("Change-out list")


@dataclass(frozen=True)
class Told:
    """One change-out in words. `incoming` is empty where no pair can be proposed, and `missing` says so."""

    person: str
    outgoing: str
    pieces: tuple[str, ...]
    what: str
    due: str
    days: str
    late: bool
    why: str
    incoming: str
    incoming_pieces: tuple[str, ...]
    shelf: str
    gives: str
    missing: str
    item_no: str
    incoming_no: str


@dataclass(frozen=True)
class Sheet:
    """One crew: whom to call, and its change-outs."""

    title: str
    depot: str
    phone: Phone
    rows: tuple[Told, ...]


@dataclass(frozen=True)
class List:
    """The whole list in words."""

    title: str
    headline: str
    as_of: str
    zone: str
    scope: str
    rule_pack: str
    floor: str
    idle: str
    replaced: str
    sheets: tuple[Sheet, ...]


def tell(
    found: ChangeOut,
    *,
    phones: Mapping[str, Phone],
    made_at: datetime,
    zone: str,
    rule_pack: str,
    scope: Scope,
) -> List:
    """The list as page and paper show it. `phones` are by name of crew."""
    local = made_at.astimezone(ZoneInfo(zone))
    return List(
        title=str(TITLE),
        headline=_headline(found),
        as_of=f"{wording.day(local.date())}, {date_format(local, 'H:i')}",
        zone=zone,
        scope=sentences.scope(scope),
        rule_pack=rule_pack or _("none: the rules cannot be read, so no pair is good"),
        floor=_(
            "A pair is proposed where it gives at least %d days once it is issued, the first to expire first."
        )
        % found.floor,
        idle=_idle(found),
        replaced=_replaced(found),
        sheets=tuple(_sheet(crew, phones) for crew in found.crews),
    )


def _headline(found: ChangeOut) -> str:
    without = sum(row.incoming is None for crew in found.crews for row in crew.rows)
    first = ngettext(
        "%(count)d pair is due within %(days)d days.",
        "%(count)d pairs are due within %(days)d days.",
        found.count,
    ) % {"count": found.count, "days": found.within}
    if not without:
        return first
    more = ngettext("For %d no pair lies ready.", "For %d no pair lies ready.", without) % without
    return f"{first} {more}"


def _idle(found: ChangeOut) -> str:
    if not found.idle:
        return ""
    return _("Nothing due, and so left out: %s.") % ", ".join(found.idle)


def _replaced(found: ChangeOut) -> str:
    if not found.replaced:
        return ""
    return _("Replaced already and not returned, so not listed again: %s.") % ", ".join(found.replaced)


def _sheet(crew: Crew, phones: Mapping[str, Phone]) -> Sheet:
    place: Place = crew.place
    return Sheet(
        place.crew or _("No crew on record"),
        place.depot or "",
        phones.get(place.crew or "", Phone()),
        tuple(map(_told, crew.rows)),
    )


def _told(row: Row) -> Told:
    pair, incoming = row.worn.pair, row.incoming
    worst = min(pair.answers, key=lambda one: one.reasons[0].rank if one.reasons else 10**6)
    return Told(
        person=row.worn.person,
        outgoing=pair.name,
        pieces=tuple(one.item_no for one in pair.pieces),
        what=described.pair_heading(pair),
        due=_due(row),
        days=_days(row),
        late=(row.days_left or 0) < 0,
        why="" if pair.good else ", ".join(wording.short(one) for one in worst.reasons[:2]),
        incoming=incoming.name if incoming else "",
        incoming_pieces=tuple(one.item_no for one in incoming.pieces) if incoming else (),
        shelf=holder_word(incoming.holder) if incoming else "",
        gives=_gives(row),
        missing="" if incoming else _("No pair that fits lies ready."),
        item_no=pair.pieces[0].item_no,
        incoming_no=incoming.pieces[0].item_no if incoming else "",
    )


def _due(row: Row) -> str:
    """A date that is past or to come; what is not good for another reason is due now, whatever its date."""
    if row.due is None or (not row.worn.pair.good and (row.days_left or 0) >= 0):
        return _("NOW")
    return wording.day(row.due)


def _days(row: Row) -> str:
    left = row.days_left
    if left is None or (left >= 0 and not row.worn.pair.good):
        return ""
    if left < 0:
        return ngettext("%d day over", "%d days over", -left) % -left
    return ngettext("%d day left", "%d days left", left) % left


def _gives(row: Row) -> str:
    days = row.incoming.days if row.incoming else None
    return "" if days is None else ngettext("gives %d day", "gives %d days", days) % days
