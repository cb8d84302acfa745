"""The packing slip of a carton, and the return copy that comes back with it."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.translation import gettext as _

from gear import wording
from gear.models import KIND_NAMES
from gear.pdf import pdf_from
from gear.queries import described
from gear.rules import codes
from inspections.queries import Carton, Line

PAPERS = ("letter", "a4")
BLANK_LINES = 4  # for what comes back and is on no line


def slip_pdf(found: Carton, *, paper: str = "letter") -> bytes:
    """The slip as a tagged PDF on one of PAPERS. Raises NotSet."""
    return pdf_from(slip_html(found, paper=paper))


def slip_html(found: Carton, *, paper: str = "letter") -> str:
    """The slip as one self-contained document: what is in the carton, then the copy to tick and send back."""
    now = timezone.localtime()
    one = found.shipment
    page = {
        "shipment": one,
        "paper": paper,
        "demo": settings.DEMO,
        "site": settings.SITE_NAME,
        "zone": settings.TIME_ZONE,
        "as_of": f"{wording.day(now.date())} {now:%H:%M}",
        "expected": wording.day(one.expected_on),
        "sent": wording.day(timezone.localtime(one.sent_at).date()) if one.sent_at else "",
        "draft": one.state == "packing",
        "lines": [_line(number, line) for number, line in enumerate(found.lines, start=1)],
        "totals": [
            (described.heading({"kind": kind, "class": cls}), count) for kind, cls, count in found.totals
        ],
        "blank": range(BLANK_LINES),
        "copies": (False, True),
    }
    return render_to_string("inspections/shipment_slip_print.html", page)


def _line(number: int, line: Line) -> dict[str, Any]:
    what = line.identity
    lengths = (described.size_word(what), described.length(what.get("length_mm")))
    return {
        "number": number,
        "item_no": line.item.item_no,
        "code": codes.grouped(line.label) if line.label else "",
        "serial": line.item.serial,
        "kind": KIND_NAMES.get(what.get("kind", ""), ""),
        "cls": what.get("class") or "",
        "size": ", ".join(part for part in lengths if part),
        "hand": described.hand_word(what.get("hand")),
        "why": wording.SHORT.get(line.row.why) or _("routine test"),
        "note": line.row.note,
    }
