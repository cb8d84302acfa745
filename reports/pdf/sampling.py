"""The sheet of an audit sample, to go round with and write on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string

from gear.pdf import pdf_from


def sheet_html(told: Mapping[str, Any], rows: Sequence[Mapping[str, Any]], *, paper: str = "letter") -> str:
    """The sheet as one self-contained document: what was drawn and how, and a line with boxes for each piece."""
    page = {**told, "rows": rows, "paper": paper, "demo": settings.DEMO, "site": settings.SITE_NAME}
    return render_to_string("reports/audit_sheet_print.html", page)


def sheet_pdf(told: Mapping[str, Any], rows: Sequence[Mapping[str, Any]], *, paper: str = "letter") -> bytes:
    """The same as a tagged PDF on Letter or A4. Raises NotSet."""
    return pdf_from(sheet_html(told, rows, paper=paper))
