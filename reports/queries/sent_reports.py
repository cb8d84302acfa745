"""The weekly reports that are kept: their files, to whom they went, and what came of every attempt."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import Prefetch, QuerySet
from django.utils.translation import gettext as _

from gear.ledger.problems import Problem
from gear.models import Entry
from reports.models import MailAttempt, MailOutcome, WeeklyFile, WeeklyReport
from reports.queries.recipients import Recipient, plan
from reports.rules.overdue import Scope
from reports.rules.retrying import Tried
from reports.rules.weeks import Due, due_weeks


def due(now: datetime) -> Due:
    """The weeks that should have a report by now, counted from the first record of this installation.

    Passed over are older ones without a report; a second query finds out where there are any that old.
    """
    first = Entry.objects.order_by("recorded_at").values_list("recorded_at", flat=True).first()
    found = due_weeks(first, now, hour=plan().monday_hour, zone=ZoneInfo(settings.TIME_ZONE))
    if not found.passed_over:
        return found
    older = WeeklyReport.objects.filter(
        depot="", week__lt=found.weeks[0].label
    ).count()  # made when they were due
    return replace(found, passed_over=max(0, found.passed_over - older))


def sent_reports(scope: Scope, *, newest: int | None = None) -> QuerySet[WeeklyReport]:
    """The reports that somebody with this scope may read, newest first, with files and attempts; no bytes are read."""
    attempts = MailAttempt.objects.select_related("outcome").order_by("at", "number")
    files = WeeklyFile.objects.defer("content").order_by("kind")
    found = WeeklyReport.objects.order_by("-week", "depot").prefetch_related(
        Prefetch("attempts", attempts), Prefetch("files", files)
    )
    found = found if scope.kind == "book" else found.filter(depot=scope.name or "-")
    return found[:newest] if newest else found


@dataclass(frozen=True)
class Try:
    """One attempt as it is told: the outcome is empty where nobody knows it."""

    address: str
    at: datetime
    number: int
    message_id: str
    outcome: str
    detail: str
    settled_at: datetime | None


def tries(attempts: Iterable[MailAttempt]) -> list[Try]:
    """Attempts with what came of them, in the order given."""
    found = []
    for one in attempts:
        told: MailOutcome | None = getattr(one, "outcome", None)
        found.append(
            Try(
                one.address,
                one.at,
                one.number,
                one.message_id,
                told.outcome if told else "",
                told.detail if told else "",
                told.at if told else None,
            )
        )
    return found


def tried(message_id: str) -> list[Tried]:
    """Every attempt at one mail so far, oldest first."""
    rows = MailAttempt.objects.filter(message_id=message_id).select_related("outcome").order_by("number")
    return [Tried(one.at, one.lease_until, outcome_of(one)) for one in rows]


def outcome_of(attempt: MailAttempt) -> str:
    told: MailOutcome | None = getattr(attempt, "outcome", None)
    return told.outcome if told else ""


def still_to_get(report: WeeklyReport, current: Iterable[Recipient], *, is_newest: bool) -> list[Recipient]:
    """Who of those who are mailed today gets this report: whoever joined later gets the newest week alone.

    Where nobody was on the list when it was made, everybody gets it.
    """
    then = {address.casefold() for address in report.recipients}
    return [
        one
        for one in current
        if one.depot == report.depot and (is_newest or not then or one.address.casefold() in then)
    ]


def accepted_by(report: WeeklyReport) -> set[str]:
    """The addresses for which the mail server has taken this report."""
    return {one.address.casefold() for one in report.attempts.all() if outcome_of(one) == "accepted"}


def sent_problems() -> Iterator[Problem]:
    """Every file of a weekly report whose bytes are not those that were hashed, and every report that lost its files.

    A fixed number of queries; the files are read one by one.
    """
    whole: set[tuple[object, str, str]] = set()
    for one in WeeklyFile.objects.select_related("report").order_by("report__week", "kind").iterator(10):
        whole.add((one.report_id, one.kind, one.sha256))
        if not is_as_sent(one):
            sentence = _("%s is not the file that was sent: its bytes do not fit its hash.") % one.name
            yield Problem(f"weekly:{one.report}", "SENT_FILE_CHANGED", sentence)
    for report in WeeklyReport.objects.order_by("week", "depot"):
        if any((report.pk, kind, digest) not in whole for kind, digest in report.hashes.items()):
            sentence = _("A file of the weekly report %s is missing or another than was sent.") % report
            yield Problem(f"weekly:{report}", "SENT_FILE_MISSING", sentence)


def is_as_sent(file: WeeklyFile) -> bool:
    """Whether the bytes of a file are those that were hashed when it was kept."""
    content = bytes(file.content)
    return len(content) == file.size and hashlib.sha256(content).hexdigest() == file.sha256
