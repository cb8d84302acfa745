"""What reports read."""

from reports.queries.changeout import change_out_list
from reports.queries.overdue import overdue_report, phones

__all__ = ["change_out_list", "overdue_report", "phones"]
