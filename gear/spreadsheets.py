"""Lists as CSV: RFC 4180 in plain UTF-8 without a byte order mark, and nothing that a spreadsheet would calculate."""

from __future__ import annotations

import csv
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from datetime import date

Cell = str | int | date | None
_CONTROLS = "\t\r\n\x00"


def inert_lines(columns: Iterable[str], rows: Iterable[Sequence[Cell]]) -> Iterator[str]:
    """The rows line by line under a header row, ready to be streamed; None is an empty cell."""
    writer = csv.writer(_Echo())
    yield writer.writerow(columns)
    for cells in rows:
        yield writer.writerow([inert(cell) if isinstance(cell, str) else cell for cell in cells])


def inert(text: str) -> str:
    """The text, with an apostrophe before it where a spreadsheet would calculate it or be misled by its beginning.

    `=`, `+`, `-` and `@` count in every width that Unicode has, and behind blanks and invisible signs too.
    """
    if text and text[0] in _CONTROLS:
        return f"'{text}"
    first = next((sign for sign in text if not _invisible(sign)), "")
    return f"'{text}" if unicodedata.normalize("NFKC", first) in ("=", "+", "-", "@", "\u2212") else text


def _invisible(sign: str) -> bool:
    return sign.isspace() or unicodedata.category(sign) in ("Cc", "Cf")


class _Echo:
    """A file that hands back what is written to it."""

    def write(self, text: str) -> str:
        return text
