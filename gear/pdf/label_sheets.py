"""Labels as a PDF, page by page as they stand on their stock, and the strip by which a printer is set up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from django.conf import settings
from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from gear.labels import Sheet
from gear.pdf.setting import pdf_from
from gear.rules.stock import Stock

ROOM_FOR_A_HEAD = 9  # mm above the labels of a sheet, where nothing is cut off


def labels_pdf(
    sheets: Sequence[Sheet], *, stock: Stock, as_of: str, shift: tuple[int, int] = (0, 0)
) -> bytes:
    """The sheets as a tagged PDF, moved right and down by `shift` tenths of a mm. `as_of` is told. Raises NotSet."""
    return pdf_from(labels_html(sheets, stock=stock, as_of=as_of, shift=shift))


def labels_html(sheets: Sequence[Sheet], *, stock: Stock, as_of: str, shift: tuple[int, int] = (0, 0)) -> str:
    """The sheets as one self-contained document."""
    demo = _("DEMO: ") if settings.DEMO else ""
    head = _("%(demo)sLabels, as of %(as_of)s.") % {"demo": demo, "as_of": as_of}
    right, down = shift[0] / 10, shift[1] / 10
    moved = [tuple(replace(on, x=on.x + right, y=on.y + down) for on in sheet) for sheet in sheets]
    page = {
        "title": head,
        "head": head if stock.is_sheet and stock.top >= ROOM_FOR_A_HEAD else "",
        "stock": stock,
        "height": stock.page[1] - 0.01,  # a page that is filled to the last hair makes an empty one after it
        "hole": (stock.hole[0] - 3, stock.hole[1] - 3) if stock.hole else None,
        "sheets": moved,
    }
    return render_to_string("gear/label_sheet_print.html", page)
