"""What reports read."""

from reports.queries.changeout import change_out_list
from reports.queries.overdue import lab_shipments, overdue_report, phones
from reports.queries.replaced import old_pairs
from reports.queries.weekly import weekly

__all__ = ["change_out_list", "lab_shipments", "old_pairs", "overdue_report", "phones", "weekly"]
