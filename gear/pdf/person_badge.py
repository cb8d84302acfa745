"""A person's badge: a card with a square that names them on a shared tablet."""

from __future__ import annotations

from django.conf import settings
from django.template.loader import render_to_string

from gear.labels.text import square
from gear.models import User
from gear.pdf.setting import pdf_from


def badge_pdf(person: User) -> bytes:
    """The badge as a PDF of card size (ISO/IEC 7810 ID-1, 85.6 x 53.98 mm). Raises NotSet."""
    page = {
        "person": person,
        "square": square(person.badge or ""),
        "site": settings.SITE_NAME,
        "demo": settings.DEMO,
    }
    return pdf_from(render_to_string("gear/person_badge_print.html", page))
