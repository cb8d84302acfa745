"""Did the report of this week reach the mail server, and would the next one? For `gear.queries.health`."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gear.queries.health import AMBER, RED, WELL, Finding
from reports.models import MailOutcome, WeeklyReport
from reports.queries.recipients import Recipient, mail_server_is_set, plan, recipients, unmailed
from reports.queries.sent_reports import accepted_by, due, still_to_get
from reports.rules.weeks import Week, moment_of

# Common practice, no source: whoever phones on Monday morning must know on Monday morning that no report came.
LATE_AFTER = timedelta(hours=4)
NAMED = 6  # people; further ones are counted


def check_mail(now: datetime) -> Iterator[Finding]:
    """The weekly report and what it needs: a mail server, somebody to mail, and no attempt that failed last."""
    weeks, to = due(now).weeks, recipients()
    found = [*_set_up(weeks, to), *_weeks(weeks, to, now), *_last_attempt(), *_unmailed()]
    yield from found or [_well(weeks)]


def _red() -> str:
    """A demo has no timers and no mail server."""
    return AMBER if settings.DEMO else RED


def _set_up(weeks: Sequence[Week], to: Sequence[Recipient]) -> Iterator[Finding]:
    title, level = _("Weekly mail"), _red() if weeks else AMBER
    if not mail_server_is_set():
        told = _(
            "No mail server is set, so the weekly report reaches nobody. Set EMAIL_URL, then send a test mail."
        )
        yield Finding("MAIL_NOT_SET", level, title, told, page="mail_recipients")
    if not to:
        told = _("Nobody is mailed. Give a supervisor an address under People, or list an address.")
        yield Finding("MAIL_NOBODY", level, title, told, page="mail_recipients")


def _weeks(weeks: Sequence[Week], to: Sequence[Recipient], now: datetime) -> Iterator[Finding]:
    if not weeks or not to or not mail_server_is_set():
        return  # told above, once
    missing = _not_taken(weeks, to)
    if not missing:
        return
    first, title = missing[0], _("Weekly report")
    moment = moment_of(first, hour=plan().monday_hour, zone=ZoneInfo(settings.TIME_ZONE))
    told = _(
        "The report of %(weeks)s has not been taken by the mail server for everybody. Read it under Reports as sent, "
        "and run: manage.py send_weekly_report"
    ) % {"weeks": ", ".join(one.label for one in missing)}
    is_late = now - moment >= LATE_AFTER
    code = "WEEKLY_LATE" if is_late else "WEEKLY_WAITS"
    yield Finding(code, _red() if is_late else AMBER, title, told, moment, page="weekly_reports")


def _not_taken(weeks: Sequence[Week], to: Sequence[Recipient]) -> list[Week]:
    """The weeks that are not made, or not taken for everybody who should get them."""
    kept: dict[str, list[WeeklyReport]] = {}
    labels = [one.label for one in weeks]
    for report in WeeklyReport.objects.filter(week__in=labels).prefetch_related("attempts__outcome"):
        kept.setdefault(report.week, []).append(report)
    found = []
    for week in weeks:
        reports, is_newest = kept.get(week.label, []), week == weeks[-1]
        lacking = [
            one
            for report in reports
            for one in still_to_get(report, to, is_newest=is_newest)
            if one.address.casefold() not in accepted_by(report)
        ]
        unmade = {one.depot for one in to} - {report.depot for report in reports} if is_newest else set()
        if lacking or unmade or not reports:
            found.append(week)
    return found


def _last_attempt() -> Iterator[Finding]:
    last = MailOutcome.objects.select_related("attempt").order_by("-at").first()
    if last is not None and last.outcome != "accepted":
        title = _("Last mail")
        yield Finding(
            "MAIL_FAILED",
            AMBER,
            title,
            f"{last.attempt.address}: {last.detail}",
            last.at,
            page="weekly_reports",
        )


def _unmailed() -> Iterator[Finding]:
    """Supervisors and administrators are told of by the check of people; here who would get notices besides."""
    people = [one for one in unmailed() if one.role in ("foreman", "clerk")]
    if not people:
        return
    names = ", ".join(one.name for one in people[:NAMED])
    told = ngettext(
        "%(count)d foreman or clerk has no mail address and gets no notice: %(names)s. Enter it under People.",
        "%(count)d foremen and clerks have no mail address and get no notice: %(names)s. Enter them under People.",
        len(people),
    ) % {"count": len(people), "names": names + (", ..." if len(people) > NAMED else "")}
    yield Finding("NOTICE_NO_ADDRESS", AMBER, _("Notices"), told, page="people")


def _well(weeks: Sequence[Week]) -> Finding:
    if not weeks:
        return Finding("WEEKLY", WELL, _("Weekly report"), _("None is due yet."), page="weekly_reports")
    told = _("The report of %s was taken by the mail server for everybody.") % weeks[-1].label
    return Finding("WEEKLY", WELL, _("Weekly report"), told, page="weekly_reports")
