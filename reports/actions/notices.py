"""Notices: at most one digest for a person and a day, and at once what is stopped in somebody's hands.

May be run as often, and in as many places at once, as one likes: a notice is claimed by its number on the day.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import IntegrityError, transaction
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from gear import permissions, queries
from gear.actions.acting import Act, keeping_refusals
from gear.actions.refusals import FieldRefused
from gear.ledger import append
from gear.models import Item, User
from gear.rules.moments import local_day
from reports.actions.composing import week_address
from reports.actions.posting import Letter, message_id, post
from reports.actions.weekly import Done
from reports.models import Notice, StopConfirmation
from reports.permissions import scope_of
from reports.queries import notices as reads
from reports.queries import overdue_report, phones
from reports.queries.recipients import mail_server_is_set, plan
from reports.rules.notices import Alarm, Digest, History, Reader, digest, hands_key, now_key, stops, urgent
from reports.rules.overdue import Line, OverdueReport, Scope
from reports.wording import Phone, row

LONGEST_NOTE = 500
ROLES = ("foreman", "clerk", "supervisor", "administrator")


class NotConfirmed(FieldRefused):
    """What cannot be confirmed as out of use."""

    SENTENCES = {
        "NOT_STOPPED": (
            "",
            gettext_lazy("This piece is not stopped in anybody's hands any more. Look again."),
        ),
        "NOT_YOURS": ("", gettext_lazy("This piece is with another crew or depot. Its foreman confirms it.")),
        "SAY_HOW": ("note", gettext_lazy("Say where it is now, in a few words.")),
    }


@dataclass(frozen=True)
class _Today:
    """What every notice of one run is made from."""

    report: OverdueReport
    open_stops: Sequence[Line]
    crews: frozenset[str]
    history: History
    alarms: Sequence[Alarm]
    phones: Mapping[str, Phone]
    now: datetime
    day: date
    numbers: Mapping[int, set[int]]  # of the notices of the day, by person


def run(now: datetime, *, dry_run: bool = False) -> Done:
    """Send what is due to everybody who can act, and try again what was not taken within the day."""
    done, people = Done(), readers()
    if not mail_server_is_set():
        done.say(_("No mail server is set (EMAIL_URL): nobody gets a notice."), wrong=True)
        return done
    before = reads.recent(now)
    today = _today(people, before, now)
    if not dry_run and _again(before, now, done):
        return done
    quiet = plan().is_quiet(now.astimezone(ZoneInfo(settings.TIME_ZONE)).hour)
    for reader in people:
        for notice in _due(reader, today, quiet=quiet):
            if dry_run:
                done.say(f"{reader.address}: {notice.subject}")
            elif _keep(notice) and _post(notice, done):
                return done
    if today.report.all_faulty:
        done.say(_("Some records cannot be relied upon. Run verify_ledger."), wrong=True)
    if not done.lines and not done.trouble:
        done.say(_("Nobody needs a notice now."))
    return done


def readers() -> list[Reader]:
    """Everybody who can act and has an address."""
    people = User.objects.filter(role__in=ROLES, is_active=True).exclude(email="")
    return [
        Reader(one.pk, one.name, one.email, one.role, scope_of(one))
        for one in people.select_related("crew", "depot").order_by("role", "username")
    ]


def _today(people: Iterable[Reader], before: list[Notice], now: datetime) -> _Today:
    report = overdue_report(queries.question(), scope=Scope())
    day = local_day(now, ZoneInfo(settings.TIME_ZONE))
    numbers: dict[int, set[int]] = {}
    for one in before:
        if one.day == day:
            numbers.setdefault(one.person_id, set()).add(one.number)
    return _Today(
        report,
        stops(report.usable_now, reads.confirmations(now)),
        frozenset(one.scope.name for one in people if one.role == "foreman" and one.scope.name),
        reads.history(before, now),
        list(reads.alarms(now)),
        phones(),
        now,
        day,
        numbers,
    )


def _due(reader: Reader, today: _Today, *, quiet: bool) -> Iterable[Notice]:
    """The notices that this person gets now, not kept yet."""
    lines = urgent(reader, today.open_stops, today.history, crews=today.crews, now=today.now)
    numbers = today.numbers.get(reader.pk, set())
    if lines:
        number = max(numbers, default=0) + 1
        yield _notice(reader, today, number, _urgent_subject(lines), list(map(now_key, lines)), lines=lines)
    if quiet or 0 in numbers:
        return
    new = digest(
        reader,
        in_hands=[one for one in today.report.usable_now if one not in lines],
        due_soon=today.report.due_soon,
        alarms=today.alarms,
        history=today.history,
    )
    if new:
        yield _notice(reader, today, 0, _digest_subject(new), new.keys, new=new)


def _notice(
    reader: Reader,
    today: _Today,
    number: int,
    subject: str,
    told: list[str],
    *,
    lines: Sequence[Line] = (),
    new: Digest | None = None,
) -> Notice:
    demo = "DEMO · " if settings.DEMO else ""
    shown = {
        "demo": settings.DEMO,
        "reader": reader,
        "urgent": [_line(one, today) for one in lines],
        "in_hands": [_line(one, today) for one in new.in_hands] if new else [],
        "due": [row(one) for one in new.due] if new else [],
        "due_count": new.due_count if new else 0,
        "alarms": new.alarms if new else (),
        "escalated": bool(lines) and reader.role == "supervisor",
        "confirm": f"{settings.BASE_URL}{reverse('stops_in_hands')}",
        "week": week_address(),
    }
    return Notice(
        person_id=reader.pk,
        day=today.day,
        number=number,
        urgent=bool(lines),
        address=reader.address,
        subject=f"{demo}{subject}"[:200],
        body=render_to_string("reports/notice_mail.txt", shown),
        told=told,
    )


def _line(line: Line, today: _Today) -> dict[str, Any]:
    crew = today.phones.get(line.crew or "")
    first = today.history.reached.get(now_key(line))
    return {
        "row": row(line),
        "call": crew.sentence if crew else "",
        "since": first.astimezone(ZoneInfo(settings.TIME_ZONE)) if first else None,
    }


def _urgent_subject(lines: Sequence[Line]) -> str:
    told = ngettext(
        "STOP: %(item)s is in somebody's hands", "STOP: %(count)d pieces are in people's hands", len(lines)
    )
    return told % {"item": lines[0].item_no, "count": len(lines)}


def _digest_subject(new: Digest) -> str:
    parts = [
        ngettext("%d piece not good in hands", "%d pieces not good in hands", len(new.in_hands))
        % len(new.in_hands),
        ngettext("%d coming due", "%d coming due", len(new.due)) % len(new.due),
        ngettext("%d alarm", "%d alarms", len(new.alarms)) % len(new.alarms),
    ]
    counts = (len(new.in_hands), len(new.due), len(new.alarms))
    return _("New: %s") % ", ".join(part for part, count in zip(parts, counts, strict=True) if count)


def _keep(notice: Notice) -> bool:
    """Whether this process has it: the number of a notice on a day exists once."""
    try:
        with transaction.atomic():
            append(notice)
    except IntegrityError:
        return False
    return True


def _again(before: Iterable[Notice], now: datetime, done: Done) -> bool:
    """Try again what was not taken yet and is not past. Whether the mail server is down."""
    return any(
        _post(one, done)
        for one in before
        if now - one.at < reads.TRIED_FOR and one.person.is_active and not reads.is_taken(one)
    )


def _post(notice: Notice, done: Done) -> bool:
    """Whether the mail server is down, so that there is no use in going on."""
    posted = post(
        Letter(
            message_id(f"notice-{notice.day.isoformat()}-{notice.number}", str(notice.pk)),
            notice.address,
            notice.subject,
            notice.body,
            notice.at,
            notice=notice,
        )
    )
    done.say(posted.sentence, wrong=not posted.taken and posted.state != "busy")
    return posted.server_down


# Confirming


def confirm_out_of_use(item: Item, *, key: str, note: str, act: Act) -> StopConfirmation:
    """Keep that a person says: this piece is out of use. It is not told again for a week; no verdict changes.

    Raises NotConfirmed and NotAllowed.
    """
    with keeping_refusals("confirm_stop", item.item_no, act):
        permissions.check_can(act.by, "confirm_stop")
        by: User | None = act.by
        note = " ".join(note.split())[:LONGEST_NOTE]
        if not note:
            raise NotConfirmed("SAY_HOW")
        lines = overdue_report(queries.question(), scope=Scope()).usable_now
        line = next(
            (one for one in stops(lines, ()) if hands_key(one) == key and one.item_no == item.item_no), None
        )
        if line is None:
            raise NotConfirmed("NOT_STOPPED")
        if by is not None and not scope_of(by).covers(line):
            raise NotConfirmed("NOT_YOURS")
        kept = StopConfirmation(id=act.id, by=by, item=item, key=key, note=note)
        append(kept)
        return kept
