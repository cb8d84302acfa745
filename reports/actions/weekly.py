"""The weekly report: made and kept once for every week that is due, and sent until the mail server has taken it.

May be run as often, and in as many places at once, as one likes.
"""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from gear import queries
from gear.ledger import append
from gear.queries import Question
from gear.rules.moments import local_day
from reports.actions.composing import Composed, compose
from reports.actions.posting import Letter, message_id, post
from reports.models import WeeklyFile, WeeklyReport
from reports.models.weekly import FILE_TYPES
from reports.pdf import NotSet
from reports.queries.recipients import Recipient, mail_server_is_set, plan, recipients
from reports.queries.sent_reports import accepted_by, due, still_to_get
from reports.rules.overdue import DoesNotReconcile, Scope
from reports.rules.weeks import MOST_MADE_UP, Week, moment_of, week_in

log = logging.getLogger(__name__)
PATIENCE_FOR_PDF = timedelta(
    hours=2
)  # then the report goes without: a late one is worth less than a plain one


@dataclass
class Done:
    """What was done, in sentences; `trouble` are those about which somebody must do something."""

    lines: list[str] = field(default_factory=list)
    trouble: list[str] = field(default_factory=list)

    def say(self, sentence: str, *, wrong: bool = False) -> None:
        (self.trouble if wrong else self.lines).append(sentence)


def run(now: datetime, *, weeks: Sequence[Week] | None = None, dry_run: bool = False) -> Done:
    """Make what is due and send what is not taken yet, oldest week first. `weeks` narrows it to some of those due."""
    done, wanted, to = Done(), due(now), recipients()
    if wanted.passed_over:
        done.say(
            _("%(count)d weeks are longer ago than the last %(most)d and are not made up.")
            % {"count": wanted.passed_over, "most": MOST_MADE_UP}
        )
    chosen = [one for one in wanted.weeks if weeks is None or one in weeks]
    if not chosen:
        done.say(_("No weekly report is due."))
        return done
    if dry_run:
        _announce(chosen, to, done)
        return done
    for week in chosen:
        _make(week, to, now, done, is_newest=week == wanted.weeks[-1])
    _send_all(chosen, to, done, newest=wanted.weeks[-1])
    return done


def _announce(weeks: Iterable[Week], to: Sequence[Recipient], done: Done) -> None:
    for week in weeks:
        kept = (
            WeeklyReport.objects.filter(week=week.label)
            .order_by("depot")
            .prefetch_related("attempts__outcome")
        )
        if not kept:
            done.say(_("%s would be made now.") % week.label)
        for report in kept:
            done.say(
                _("%(report)s is kept, and was taken for %(count)d addresses.")
                % {"report": report, "count": len(accepted_by(report))}
            )
    names = ", ".join(f"{one.address} ({one.depot})" if one.depot else one.address for one in to)
    done.say(_("Mailed are: %s.") % (names or _("nobody")), wrong=not to)


# Making


def _make(week: Week, to: Sequence[Recipient], now: datetime, done: Done, *, is_newest: bool) -> None:
    """Keep the reports of a week that are not kept yet. Of an older week that is kept, nothing is added later."""
    kept = set(WeeklyReport.objects.filter(week=week.label).values_list("depot", flat=True))
    depots = {one.depot for one in to if one.depot} if is_newest or not kept else set()
    for depot in sorted({"", *depots} - kept):
        named = f"{week.label} {depot}".strip()
        try:
            _keep(week, depot, [one.address for one in to if one.depot == depot], now, done)
        except DoesNotReconcile as error:
            done.say(
                _("%(report)s was not made: it does not account for every item: %(why)s Run verify_ledger.")
                % {"report": named, "why": error},
                wrong=True,
            )
        except NotSet as error:
            log.error("The PDF of the weekly report could not be made: %s", error.detail)
            done.say(_("%s was not made: its PDF could not be set. It is tried again.") % named, wrong=True)


def _keep(week: Week, depot: str, addresses: list[str], now: datetime, done: Done) -> None:
    zone = ZoneInfo(settings.TIME_ZONE)
    moment = moment_of(week, hour=plan().monday_hour, zone=zone)
    asked = question_of(week, moment, now, zone)
    scope = Scope("depot", depot) if depot else Scope()
    made = compose(asked, scope=scope, week=week, without_pdf=now - moment >= PATIENCE_FOR_PDF)
    report = WeeklyReport(
        week=week.label,
        depot=depot,
        as_of_at=moment,
        known_at=max(moment, asked.known_at or asked.asked_at),
        zone=settings.TIME_ZONE,
        rule_pack=made.rule_pack,
        subject=made.subject,
        totals=dict(made.totals),
        faulty=list(made.faulty),
        recipients=addresses,
    )
    files = _files(report, made)
    report.hashes = {one.kind: one.sha256 for one in files}
    try:
        with transaction.atomic():
            append(report)
            for row in files:
                append(row)
    except IntegrityError:
        done.say(_("%s was made by another process.") % report)
        return
    done.say(_("%s is made and kept.") % report)
    if made.faulty:
        done.say(
            _(
                "%(report)s is complete, but the records of %(items)s cannot be relied upon. Run verify_ledger."
            )
            % {"report": report, "items": ", ".join(made.faulty[:20])},
            wrong=True,
        )


def question_of(week: Week, moment: datetime, now: datetime, zone: ZoneInfo) -> Question:
    """On its own Monday a report says what is on record now; later, only what was on record at its moment."""
    if local_day(now, zone) == week.monday:
        return queries.question()
    return queries.question(week.monday, known_at=moment)


def _files(report: WeeklyReport, made: Composed) -> list[WeeklyFile]:
    demo = "DEMO-" if settings.DEMO else ""
    depot = "".join(sign if sign.isalnum() and sign.isascii() else "-" for sign in report.depot)[:40]
    name = "-".join(part for part in (f"{demo}overdue", report.week, depot) if part)
    return [
        WeeklyFile(
            report=report,
            kind=kind,
            name=f"{name}.{kind}",
            sha256=hashlib.sha256(content).hexdigest(),
            size=len(content),
            content=content,
        )
        for kind, content in made.files.items()
    ]


# Sending


def _send_all(weeks: Sequence[Week], to: Sequence[Recipient], done: Done, *, newest: Week) -> None:
    """Every kept report to everybody who lacks it. Whoever could not be given a week waits with the next one."""
    if not mail_server_is_set():
        done.say(_("No mail server is set (EMAIL_URL): reports are kept and nobody is mailed."), wrong=True)
        return
    if not to:
        done.say(
            _("Nobody is mailed. Give a supervisor an address, or list one under Who is mailed."), wrong=True
        )
        return
    labels = [one.label for one in weeks]
    reports = WeeklyReport.objects.filter(week__in=labels).prefetch_related("attempts__outcome")
    waiting: set[str] = set()
    for report in reports.order_by("week", "depot"):
        if _send(report, still_to_get(report, to, is_newest=week_in(report.week) == newest), waiting, done):
            return


def _send(report: WeeklyReport, to: Sequence[Recipient], waiting: set[str], done: Done) -> bool:
    """Whether the mail server is down, so that there is no use in going on."""
    taken = accepted_by(report)
    lacking = [one for one in to if one.address.casefold() not in taken]
    for one in lacking:
        if one.address in waiting:
            continue
        posted = post(letter_of(report, one.address))
        done.say(f"{report}: {posted.sentence}", wrong=not posted.taken and posted.state != "busy")
        if posted.server_down:
            return True
        if not posted.taken and posted.state != "refused":
            waiting.add(one.address)
    return False


def letter_of(report: WeeklyReport, address: str) -> Letter:
    """The mail of a report to an address: byte for byte the same whenever it is written."""
    files = {one.kind: one for one in report.files.all()}
    text = bytes(files["txt"].content).decode()
    return Letter(
        message_id(f"weekly-{report.week}", report.depot, address.casefold()),
        address,
        report.subject,
        text,
        report.at,
        tuple(
            (files[kind].name, bytes(files[kind].content), FILE_TYPES[kind].partition(";")[0])
            for kind in ("pdf", "csv")
            if kind in files
        ),
        report=report,
    )
