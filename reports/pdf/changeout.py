"""The change-out list on paper: one crew to a sheet, to be taped on the counter and signed."""

from __future__ import annotations

from django.conf import settings
from django.template.loader import render_to_string

from gear.pdf import pdf_from
from reports.wording.changeout import List


def change_out_pdf(told: List, *, paper: str = "letter") -> bytes:
    """The list as a tagged PDF on Letter or A4. Raises NotSet."""
    return pdf_from(change_out_html(told, paper=paper))


def change_out_html(told: List, *, paper: str = "letter") -> str:
    """The list as one document that needs no server."""
    context = {"told": told, "paper": paper, "demo": settings.DEMO}
    return render_to_string("reports/change_out_print.html", context)
