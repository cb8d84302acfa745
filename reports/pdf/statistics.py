"""The year in figures on paper."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string

from gear.pdf import pdf_from


def statistics_html(told: Mapping[str, Any], *, paper: str = "letter") -> str:
    """The tables as one document that needs no server, the method on a page of its own at the end."""
    page = {**told, "paper": paper, "demo": settings.DEMO, "site": settings.SITE_NAME}
    return render_to_string("reports/statistics_print.html", page)


def statistics_pdf(told: Mapping[str, Any], *, paper: str = "letter") -> bytes:
    """The same as a tagged PDF on Letter or A4. Raises NotSet."""
    return pdf_from(statistics_html(told, paper=paper))
