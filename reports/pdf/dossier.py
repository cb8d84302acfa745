"""The record of a piece as of a moment on paper, with what its check needs attached and a form for its custody."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string

from gear import wording
from gear.pdf import Attachment, pdf_from
from reports.rules.dossier_check import ATTACHMENT


def dossier_html(told: Mapping[str, Any], *, heading: Mapping[str, Any], paper: str = "letter") -> str:
    """The paper as one self-contained document. `heading`: what stands on every page."""
    page = {
        "told": told,
        "heading": heading,
        "paper": paper,
        "demo": settings.DEMO,
        "site": settings.SITE_NAME,
    }
    return render_to_string("reports/record_print.html", {**page, "cautions": wording.CAUTIONS})


def dossier_pdf(
    told: Mapping[str, Any], *, heading: Mapping[str, Any], attached: bytes, paper: str = "letter"
) -> bytes:
    """The same as a tagged PDF on Letter or A4. Raises NotSet."""
    html = dossier_html(told, heading=heading, paper=paper)
    return pdf_from(html, attachment=Attachment(ATTACHMENT, attached))
