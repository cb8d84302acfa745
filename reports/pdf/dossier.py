"""The record of a piece as of a moment on paper, with what its check needs attached and a form for its custody."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

from django.conf import settings
from django.template.loader import render_to_string
from django.urls import reverse

from gear import wording
from gear.models import Depot
from gear.pdf import Attachment, pdf_from
from gear.views.moments import moment
from reports.pdf.dossier_words import told
from reports.queries.dossier import Dossier
from reports.rules.dossier_check import ATTACHMENT, FORMAT, canonical


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


def dossier_pdf(found: Dossier, *, depot: Depot | None, printed_at: datetime, paper: str = "letter") -> bytes:
    """The same as a tagged PDF on Letter or A4, for a reader who is bound to a depot or to none. Raises NotSet."""
    heading = {
        "run": uuid4().hex[:8],
        "zone": settings.TIME_ZONE,
        "printed": moment(printed_at),
        "check": f"{settings.BASE_URL.rstrip('/')}{check_address(found)}",
        "blank": range(9),
    }
    html = dossier_html(told(found, depot=depot), heading=heading, paper=paper)
    return pdf_from(html, attachment=Attachment(ATTACHMENT, attachment(found)))


def attachment(found: Dossier) -> bytes:
    """What the check program reads: the content that the code covers and every entry as it was hashed."""
    return canonical(
        {
            "format": FORMAT,
            "code": found.code,
            "content": found.content,
            "entries": list(found.stated),
        }
    )


def stated(found: Dossier) -> dict[str, str]:
    """What asks for this record again: the piece and its two moments."""
    return {
        "item": found.item.item_no,
        "at": _utc(found.as_of),
        "known_at": _utc(found.known_at),
    }


def _utc(at: datetime) -> str:
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def check_address(found: Dossier) -> str:
    """The page that works its code out again."""
    return f"{reverse('record_check')}?{urlencode(stated(found))}"
