"""One row for each table of the mail, ready to be stored."""

import hashlib
from uuid import uuid4

from django.utils import timezone

from gear.ledger import append
from reports.models import (
    MailAddress,
    MailAttempt,
    MailOutcome,
    MailPlan,
    Notice,
    StopConfirmation,
    WeeklyFile,
    WeeklyReport,
)
from reports.rules.retrying import LEASE
from tests import builders


def stored(row):
    append(row)
    return row


def mail_address(**columns):
    known = {"address": "safety@example.org", "mailed": True, "by": builders.person("supervisor", "ines")}
    return MailAddress(**{**known, **columns})


def mail_plan(**columns):
    known = {
        "monday_hour": 6,
        "quiet_from": 20,
        "quiet_until": 5,
        "by": builders.person("supervisor", "ines"),
    }
    return MailPlan(**{**known, **columns})


def weekly_report(**columns):
    now = timezone.now()
    known = {
        "week": "2026-W38",
        "as_of_at": now,
        "known_at": now,
        "zone": "America/New_York",
        "rule_pack": builders.PACK,
        "subject": "Week 2026-W38",
        "totals": {"overdue": 1},
        "recipients": ["ines@example.org"],
    }
    return WeeklyReport(**{**known, **columns})


def report_on_file():
    return WeeklyReport.objects.order_by("at").first() or stored(weekly_report())


def weekly_file(**columns):
    known = {"kind": "csv", "name": "overdue.csv", "size": 2, "content": b"no"}
    known["sha256"] = hashlib.sha256(known["content"]).hexdigest()
    return WeeklyFile(**{"report": report_on_file(), **known, **columns})


def mail_attempt(**columns):
    known = {
        "address": "ines@example.org",
        "message_id": f"<weekly-{uuid4()}@example.org>",
        "number": 1,
        "lease_until": timezone.now() + LEASE,
    }
    if "notice" not in columns:
        columns.setdefault("report", report_on_file())
    return MailAttempt(**{**known, **columns})


def mail_outcome(**columns):
    return MailOutcome(**{"attempt": stored(mail_attempt()), "outcome": "accepted", **columns})


def notice(**columns):
    known = {
        "person": builders.person("foreman", "bertrand"),
        "day": builders.today(),
        "number": 1,
        "urgent": True,
        "address": "bertrand@example.org",
        "subject": "Stopped in hands",
        "body": "B-1",
        "told": ["stop:B-1"],
    }
    return Notice(**{**known, **columns})


def stop_confirmation(**columns):
    known = {"by": builders.person("foreman", "bertrand"), "key": "stop:B-1:HELD", "note": "in my office"}
    return StopConfirmation(**{"item": builders.blanket(), **known, **columns})


MAKE = {
    MailAddress: mail_address,
    MailPlan: mail_plan,
    WeeklyReport: weekly_report,
    WeeklyFile: weekly_file,
    MailAttempt: mail_attempt,
    MailOutcome: mail_outcome,
    Notice: notice,
    StopConfirmation: stop_confirmation,
}
