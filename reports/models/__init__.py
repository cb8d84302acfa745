"""What is kept about reports: what was sent, promised, noted and counted. All of it is appended, never edited."""

from reports.models.audits import FOUND_NAMES, AuditResult, AuditSample
from reports.models.capacity import WeeklyCapacity
from reports.models.exceptions import ExceptionEnd, ExceptionNote
from reports.models.mailing import MailAddress, MailAttempt, MailOutcome, MailPlan
from reports.models.notices import Notice, StopConfirmation
from reports.models.promises import Promise
from reports.models.weekly import WeeklyFile, WeeklyReport

__all__ = [
    "AuditResult",
    "AuditSample",
    "FOUND_NAMES",
    "ExceptionEnd",
    "ExceptionNote",
    "MailAddress",
    "MailAttempt",
    "MailOutcome",
    "MailPlan",
    "Notice",
    "Promise",
    "StopConfirmation",
    "WeeklyCapacity",
    "WeeklyFile",
    "WeeklyReport",
]
