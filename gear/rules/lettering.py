"""Fit lines of text into a box: each as large as it may be, none wider or taller than the box.

Widths are those of DejaVu Sans Bold, the widest letters that a label is set in; other fonts of a printer's computer
are narrower. No font file is read for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from gear.rules.stock import Box

MM_PER_POINT = 25.4 / 72
LEADING = 1.1  # line height in letter heights
LEAST_PT = 4.2  # below, nobody reads it (common practice, no source)
BREAK_PT = 5.2  # a line that would get smaller than this to fit its box is broken in two, where it can be
MONO_EM = 0.603
SWATCH_EM = 1.35  # the class colour and the blank after it
PLAIN = 0.94  # of the width of bold letters
_BREAKS = (", ", ": ", " (", " ", "-")
_WIDTHS = {
    0.36: "'ijl ",
    0.42: "/\\|IJ,.:;-",
    0.48: "f!()[]t",
    0.53: 'r_`"*',
    0.6: "?zcs",
    0.66: "Lxvy",
    0.7: "kaeTEFo$0123456789",
    0.75: "hnu{}bdgpqSYZPC",
    0.79: "BRXAVK",
    0.86: "UGDHN#+<=>^~OQ",
    0.88: "&",
    0.93: "w",
    1.05: "M@%m",
    1.11: "W",
}
_EM = {symbol: width for width, symbols in _WIDTHS.items() for symbol in symbols}
_UNKNOWN_EM = 1.15  # whatever else a text holds
_NARROWER = frozenset(_EM) - frozenset(
    "#+<=>^~@%*_`"
)  # the letters that are narrower where they are not bold


@dataclass(frozen=True)
class Line:
    """One line: its name, its text, and its size in points where there is room. `mono` letters are all one width."""

    name: str
    text: str
    points: float
    bold: bool = False
    mono: bool = False
    swatch: bool = False

    @property
    def em(self) -> float:
        """The width in letter heights."""
        letters = MONO_EM * len(self.text) if self.mono else width_em(self.text, bold=self.bold)
        return letters + (SWATCH_EM if self.swatch else 0)

    def points_in(self, width: float) -> float:
        """The size in which the line is no wider than so many mm, at most its own."""
        return min(self.points, width / (MM_PER_POINT * self.em)) if self.text else self.points

    def broken(self) -> tuple[Line, ...]:
        """The line in two, near its middle; itself where it has no place to break. A code is never broken."""
        if self.mono:
            return (self,)
        for mark in _BREAKS:
            ends = [
                at + len(mark.rstrip()) for at in range(1, len(self.text)) if self.text.startswith(mark, at)
            ]
            if ends:
                end = min(ends, key=lambda at: abs(at - len(self.text) / 2))
                first, second = self.text[:end].rstrip(), self.text[end:].lstrip()
                if first and second:
                    return replace(self, text=first), replace(self, text=second, swatch=False)
        return (self,)


@dataclass(frozen=True)
class Placed:
    """A line where it stands: upper left corner and height in mm from that of the label, size in points."""

    line: Line
    x: float
    y: float
    height: float
    points: float


class DoesNotFit(ValueError):
    """The lines would be too small to be read in this box."""


def width_em(text: str, *, bold: bool) -> float:
    """An upper bound of the width of a text in letter heights."""
    return sum(
        _EM.get(symbol, _UNKNOWN_EM) * (1 if bold or symbol not in _NARROWER else PLAIN) for symbol in text
    )


def fit(lines: Sequence[Line], box: Box) -> list[Placed]:
    """The lines one under the other. Raises DoesNotFit where one would be under LEAST_PT."""
    if not lines:
        return []
    lines = [part for line in lines for part in _parts(line, box.width)]
    sizes = _sizes(lines, box)
    tall = sum(sizes) * MM_PER_POINT * LEADING
    # What room is left goes between the lines, but never so much that they fall apart.
    gap = min((box.height - tall) / len(lines), max(sizes) * MM_PER_POINT * 0.35)
    placed, y = [], box.y + (box.height - tall - gap * (len(lines) - 1)) / 2
    for line, size in zip(lines, sizes, strict=True):
        height = size * MM_PER_POINT * LEADING
        placed.append(Placed(line, box.x, y, height, size))
        y += height + gap
    return placed


def _parts(line: Line, width: float) -> tuple[Line, ...]:
    if line.points_in(width) >= min(BREAK_PT, line.points):
        return (line,)
    parts = line.broken()
    if len(parts) == 1:
        return parts
    whole = [one for part in parts for one in _parts(part, width)]
    points = min(one.points_in(width) for one in whole)
    return tuple(replace(one, points=points) for one in whole)  # of one size: they are one line


def _sizes(lines: Sequence[Line], box: Box) -> list[float]:
    """Points of each line: as wide as the box allows, then all smaller by one factor, none under LEAST_PT."""
    sizes = [line.points_in(box.width) for line in lines]
    room = box.height / (MM_PER_POINT * LEADING)
    if min(sizes) < LEAST_PT or LEAST_PT * len(sizes) > room:
        raise DoesNotFit(lines[sizes.index(min(sizes))].text)
    small: set[int] = set()
    while sum(sizes) > room + 1e-9:
        factor = (room - LEAST_PT * len(small)) / sum(
            size for at, size in enumerate(sizes) if at not in small
        )
        sizes = [LEAST_PT if at in small else size * factor for at, size in enumerate(sizes)]
        small |= {at for at, size in enumerate(sizes) if size <= LEAST_PT}
        sizes = [max(size, LEAST_PT) for size in sizes]
    return sizes
