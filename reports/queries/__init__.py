"""What reports read."""

from reports.queries.overdue import overdue_report, phones

__all__ = ["overdue_report", "phones"]
