"""What is kept about reports: what was sent, promised, noted and counted. All of it is appended, never edited."""

from reports.models.audits import FOUND_NAMES, AuditResult, AuditSample
from reports.models.capacity import WeeklyCapacity
from reports.models.mailing import MailAddress, MailAttempt, MailOutcome, MailPlan
from reports.models.notices import Notice, StopConfirmation
from reports.models.weekly import WeeklyFile, WeeklyReport

__all__ = [
    "AuditResult",
    "AuditSample",
    "FOUND_NAMES",
    "MailAddress",
    "MailAttempt",
    "MailOutcome",
    "MailPlan",
    "Notice",
    "StopConfirmation",
    "WeeklyCapacity",
    "WeeklyFile",
    "WeeklyReport",
]
