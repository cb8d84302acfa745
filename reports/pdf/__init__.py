"""Reports on paper: the same data as the page, set by WeasyPrint in a process of its own."""

from gear.pdf import NotSet
from reports.pdf.overdue import PAPERS, overdue_html, overdue_pdf

__all__ = ["PAPERS", "NotSet", "overdue_html", "overdue_pdf"]
