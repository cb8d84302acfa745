"""Reports on paper: the same data as the page, set by WeasyPrint in a process of its own."""

from reports.pdf.overdue import PAPERS, overdue_html, overdue_pdf
from reports.pdf.setting import NotSet

__all__ = ["PAPERS", "NotSet", "overdue_html", "overdue_pdf"]
