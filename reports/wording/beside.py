"""What the weekly report tells beside its lines: alarms, pieces not seen, exceptions in force, lost pieces."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear import wording
from gear.queries import described
from gear.queries.entry_words import holder_word
from gear.queries.lost import Lost
from gear.queries.whereabouts import Phone
from reports.rules.exceptions import Noted
from reports.wording.exceptions import about
from reports.wording.weekly import NotSeen, Weekly

MOST = 200  # rows of one list that are shown; its count is whole


@dataclass(frozen=True)
class Alarm:
    """One sentence that calls for a look today; `route` is the page that tells more, for those who may open it."""

    sentence: str
    route: str


@dataclass(frozen=True)
class MissingRow:
    """A piece that the newest walk did not see: where it should be, when somebody looked, whom to call."""

    item_no: str
    what: str
    truck: str
    belongs: str
    walked: str
    call: str
    dial: str


@dataclass(frozen=True)
class ExceptionRow:
    """One exception in force."""

    name: str
    about: str
    reason: str
    ends: str
    approved: str


@dataclass(frozen=True)
class LostRow:
    """One piece that is lost still, with whoever had it last."""

    item_no: str
    what: str
    lost: str
    holder: str
    why: str
    by: str


@dataclass(frozen=True)
class Beside:
    """All of it. The counts are whole, whatever is cut."""

    alarms: tuple[Alarm, ...]
    missing: tuple[MissingRow, ...]
    exceptions: tuple[ExceptionRow, ...]
    lost: tuple[LostRow, ...]
    missing_count: int
    lost_count: int


def tell_beside(week: Weekly) -> Beside:
    """The weekly report without its lines."""
    return Beside(
        tuple(_alarms(week)),
        tuple(_missing(one, week.phones) for one in week.missing[:MOST]),
        tuple(map(exception_row, week.exceptions)),
        tuple(map(lost_row, week.lost[:MOST])),
        len(week.missing),
        len(week.lost),
    )


def _alarms(week: Weekly) -> Iterable[Alarm]:
    counted = week.alarms
    if counted and counted.scrapped_seen:
        words = ngettext(
            "%d scrapped piece was seen again, and nobody has looked into it.",
            "%d scrapped pieces were seen again, and nobody has looked into it.",
            counted.scrapped_seen,
        )
        yield Alarm(words % counted.scrapped_seen, "sightings")
    if counted and counted.old_data:
        words = ngettext(
            "%d piece was used on old data while it was not good, and nobody has looked into it.",
            "%d pieces were used on old data while they were not good, and nobody has looked into it.",
            counted.old_data,
        )
        yield Alarm(words % counted.old_data, "stale_uses")
    if week.late_shipments:
        words = ngettext(
            "%d shipment is open past the day on which it was expected back.",
            "%d shipments are open past the day on which they were expected back.",
            week.late_shipments,
        )
        yield Alarm(words % week.late_shipments, "shipments")
    if week.exceptions:
        words = ngettext(
            "%d exception is in force. It changes no answer and no date.",
            "%d exceptions are in force. They change no answer and no date.",
            len(week.exceptions),
        )
        yield Alarm(words % len(week.exceptions), "exceptions")


def _missing(one: NotSeen, phones: Mapping[str, Phone]) -> MissingRow:
    phone = phones.get(one.crew or "", Phone())
    return MissingRow(
        one.item_no,
        one.what,
        one.truck,
        ", ".join(name for name in (one.crew, one.depot) if name),
        wording.day(one.walked_on),
        phone.sentence,
        phone.dial,
    )


def exception_row(one: Noted) -> ExceptionRow:
    """An exception as every report tells it."""
    return ExceptionRow(one.name, about(one), one.reason, wording.day(one.ends_on), one.approved_by)


def lost_row(one: Lost) -> LostRow:
    """A loss as the report tells it."""
    return LostRow(
        one.item_no,
        described.heading(one.identity),
        wording.day(one.lost.occurred_on),
        holder_word(one.holder) if one.holder else _("not on record"),
        str(one.lost.facts.get("reason", "")),
        one.by,
    )
