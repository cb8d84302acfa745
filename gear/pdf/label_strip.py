"""The strip by which a printer is set up for label stock: edges, rulers, squares in several sizes, greys, lines."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from gear import labels
from gear.pdf.setting import pdf_from
from gear.rules.stock import Stock

SIDES = (16, 18, 20, 22, 25)  # mm of the sample squares
GREYS = tuple(range(0, 101, 10))  # percent of black
RULES = (0.1, 0.2, 0.3, 0.5, 1.0)  # mm
POINTS = (4.2, 5, 6, 7, 8, 10)


def strip_pdf(stock: Stock, *, as_of: str, base_url: str) -> bytes:
    """One page of a stock as a tagged PDF. Raises NotSet."""
    return pdf_from(strip_html(stock, as_of=as_of, base_url=base_url))


def strip_html(stock: Stock, *, as_of: str, base_url: str) -> str:
    """The same as one self-contained document. The sample square is read by a phone and is the code of no label."""
    width, height = stock.page
    page: dict[str, Any] = {
        "title": _("Test strip: %s") % labels.NAMES[stock.name],
        "as_of": as_of,
        "demo": settings.DEMO,
        "stock": stock,
        "places": [stock.place(index, start=1)[1:] for index in range(stock.per_page)],
        "ticks": _ticks(width, height),
        "across": range(10, int(width), 10),
        "down": range(10, int(height), 10),
        "square": labels.square(labels.address(labels.SAMPLE_CODE, base_url=base_url)),
        "height": height - 0.01,
        # the boxes of text, and how far in their words begin: clear of the rulers
        "frames": [
            (area.box, max(0.6, 9.5 - area.box.x), max(0.6, 8.5 - area.box.y)) for area in stock.areas
        ],
    }
    if stock.is_sheet:
        page |= _samples(stock)
    return render_to_string("gear/label_strip_print.html", page)


def _ticks(width: float, height: float) -> str:
    """Two rulers from the edges of the paper as one path, in mm: a tick each mm, longer each 5 and each 10."""
    across = (f"M{x} 0v{_length(x)}" for x in range(1, int(width) + 1))
    down = (f"M0 {y}h{_length(y)}" for y in range(1, int(height) + 1))
    return "".join((*across, *down))


def _length(mm: int) -> float:
    return 7 if mm % 10 == 0 else 5.5 if mm % 5 == 0 else 4.5


def _samples(stock: Stock) -> dict[str, Any]:
    """What stands on the labels of a sheet, each row of samples on a row of labels of its own."""

    def row(number: int) -> float:
        return stock.place((number - 1) * stock.columns, start=1)[2]

    return {
        "text_y": row(2) + 1,
        "squares": list(_squares(stock, row(4))),
        "greys": [
            (percent, 12 + at * 17.2, round(255 * (100 - percent) / 100)) for at, percent in enumerate(GREYS)
        ],
        "greys_y": row(6),
        "rules": [(mm, row(7) + 4 + at * 4.2) for at, mm in enumerate(RULES)],
        "points": [(points, row(8) + 1 + at * 3.9) for at, points in enumerate(POINTS)],
    }


def _squares(stock: Stock, y: float) -> Iterator[dict[str, float]]:
    """Two to a label; beside the rulers the first label has less room."""
    for at, side in enumerate(SIDES):
        left = stock.place(at // 2, start=1)[1]
        x = max(left + 4, 14)  # beside the numbers of the ruler
        x += (at % 2) * 30
        yield {"x": x, "y": y + (stock.label[1] - side) / 2, "side": side, "caption_y": y + 2}
