"""Label stock: what labels are printed on, in millimetres, and where on each label its parts stand.

The dimensions are those of plain stock cut in these sizes; measure yours with the test strip. To add a stock, add a
row to STOCKS.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

LEAST_SQUARE_MM = 20  # a phone at 20 cm reads it, quiet zone included (measured with common phone cameras)
DOTS_PER_INCH = 200  # of the coarsest label printer to be expected
LEAST_DOTS = 3  # of a module: below, decoders begin to fail (measured)
LEAST_MODULE_MM = LEAST_DOTS * 25.4 / DOTS_PER_INCH
LARGEST_SHIFT = 50  # tenths of a millimetre
HANDED = frozenset({"glove", "sleeve", "protector"})
JUMPERS = frozenset({"grounding_jumper"})


@dataclass(frozen=True)
class Box:
    """A rectangle in mm from the upper left corner of a label."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class Area:
    """A box of text: its lines by name (gear.labels.LINES), one under the other, `scale` times their usual size."""

    box: Box
    lines: tuple[str, ...]
    scale: float = 1.0


@dataclass(frozen=True)
class Stock:
    """A sheet or roll of labels. `page` is one sheet, or one label of a roll; (0, 0) is its upper left corner.

    `square` is the QR code with its quiet zone; `kinds` what the stock is meant for, None for everything; `hole` the
    centre of a punched hole of 6 mm.
    """

    name: str
    page: tuple[float, float]
    label: tuple[float, float]
    square: Box
    areas: tuple[Area, ...]
    columns: int = 1
    rows: int = 1
    left: float = 0
    top: float = 0
    gap_x: float = 0
    gap_y: float = 0
    kinds: frozenset[str] | None = None
    sets_only: bool = False
    hole: tuple[float, float] | None = None

    @property
    def per_page(self) -> int:
        return self.columns * self.rows

    @property
    def is_sheet(self) -> bool:
        return self.per_page > 1

    def place(self, index: int, *, start: int) -> tuple[int, float, float]:
        """(page from 0, x, y in mm) of the label number `index` from 0, where the first takes position `start`."""
        page, position = divmod(index + start - 1, self.per_page)
        row, column = divmod(position, self.columns)
        x = self.left + column * (self.label[0] + self.gap_x)
        return page, x, self.top + row * (self.label[1] + self.gap_y)

    def refusal(self, modules: int) -> str | None:
        """Why no code of so many modules (quiet zone included) can be printed here: a code word, or None."""
        side = min(self.square.width, self.square.height)
        if side < LEAST_SQUARE_MM:
            return "SQUARE_TOO_SMALL"
        return "MODULES_TOO_FINE" if side / modules < LEAST_MODULE_MM else None


_ALL = ("number", "kind", "size", "class", "use", "set", "dates")

STOCKS: Mapping[str, Stock] = {
    stock.name: stock
    for stock in (
        Stock(
            "letter_30",
            page=(215.9, 279.4),
            label=(66.675, 25.4),
            columns=3,
            rows=10,
            left=4.7625,
            top=12.7,
            gap_x=3.175,
            square=Box(1.2, 0.9, 21.2, 21.2),
            areas=(
                Area(Box(1.8, 22.1, 20.2, 2.6), ("code",)),
                Area(Box(23.4, 1.5, 42.0, 22.6), _ALL),
            ),
        ),
        # Printers leave some 4 mm at the edges of a sheet that is all labels: the quiet zone may lie there, ink not.
        Stock(
            "a4_30",
            page=(210, 297),
            label=(70, 29.7),
            columns=3,
            rows=10,
            square=Box(3.2, 2.4, 20.4, 20.4),
            areas=(
                Area(Box(4.4, 22.8, 19.4, 2.6), ("code",)),
                Area(Box(24.6, 4.3, 41.1, 21.2), _ALL),
            ),
        ),
        Stock(
            "roll_57x32",
            page=(57, 32),
            label=(57, 32),
            square=Box(1, 1, 22.4, 22.4),
            areas=(
                Area(Box(24.2, 1.6, 31.3, 21.6), ("number", "kind", "size", "class", "set", "dates"), 1.1),
                Area(Box(2.4, 23.8, 53.0, 7.0), ("use", "code"), 1.1),
            ),
        ),
        Stock(
            "cuff_tag",
            page=(80, 24),
            label=(80, 24),
            square=Box(1, 0.8, 22.4, 22.4),
            areas=(
                Area(Box(24.2, 1.4, 29.8, 21.2), ("number", "class", "use", "set"), 1.25),
                Area(Box(54.8, 1.4, 23.8, 21.2), ("kind", "size", "code", "dates"), 1.25),
            ),
            kinds=HANDED,
        ),
        Stock(
            "bag_tag",
            page=(60, 100),
            label=(60, 100),
            square=Box(12, 13, 36, 36),
            areas=(Area(Box(4, 49.5, 52, 47), ("code", *_ALL), 1.8),),
            hole=(30, 7),
        ),
        Stock(
            "ground_tag",
            page=(24, 62),
            label=(24, 62),
            square=Box(0.8, 0.8, 22.4, 22.4),
            areas=(
                Area(
                    Box(1.6, 23.6, 20.8, 37.0),
                    ("number", "kind", "cable", "cable_length", "grade", "set", "code", "dates"),
                    1.0,
                ),
            ),
            kinds=JUMPERS,
        ),
        Stock(
            "set_tag",
            page=(90, 50),
            label=(90, 50),
            square=Box(1.5, 5, 34, 34),
            areas=(
                Area(Box(3.5, 40.5, 32, 5), ("code",), 1.4),
                Area(Box(37, 3, 50.5, 44), ("set_no", "of_set", *_ALL[:5], "dates"), 1.4),
            ),
            sets_only=True,
        ),
    )
}
