"""What reports read."""

from reports.queries.changeout import change_out_list
from reports.queries.overdue import lab_shipments, overdue_report, phones
from reports.queries.weekly import weekly

__all__ = ["change_out_list", "lab_shipments", "overdue_report", "phones", "weekly"]
