"""Reports on paper: the same data as the page, set by WeasyPrint in a process of its own."""

from gear.pdf import NotSet
from reports.pdf.changeout import change_out_html, change_out_pdf
from reports.pdf.overdue import PAPERS, weekly_html, weekly_pdf

__all__ = [
    "PAPERS",
    "NotSet",
    "change_out_html",
    "change_out_pdf",
    "weekly_html",
    "weekly_pdf",
]
