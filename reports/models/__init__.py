"""What is kept about reports: what was sent, promised, noted and counted. All of it is appended, never edited."""

from reports.models.audits import FOUND_NAMES, AuditResult, AuditSample

__all__ = ["FOUND_NAMES", "AuditResult", "AuditSample"]
