"""Numbers that are counted up: the digits at the end, with their width kept."""

from __future__ import annotations

import re

from gear.rules.values import BadValue

MOST = 500  # pieces in one act: the page shows a row of each
_TAIL = re.compile(r"(.*?)([0-9]{1,12})", re.DOTALL)


def tail_of(field: str, text: str) -> tuple[str, int, int]:
    """(what stands before, the number, its width) of a text that ends in digits. Raises BadValue (NO_TAIL)."""
    found = _TAIL.fullmatch(text.strip())
    if found is None:
        raise BadValue("NO_TAIL", field, text.strip())
    return found[1], int(found[2]), len(found[2])


def count_up(field: str, first: str, count: int) -> list[str]:
    """So many numbers from the first on: G-098, G-099, G-100. Raises BadValue."""
    if not 1 <= count <= MOST:
        raise BadValue("TOO_MANY", field, count, most=MOST)
    head, number, width = tail_of(field, first)
    return [f"{head}{one:0{width}d}" for one in range(number, number + count)]


def between(field: str, first: str, last: str) -> list[str]:
    """All numbers from the first through the last. Raises BadValue where they are not of one row, or go backwards."""
    head, number, width = tail_of(field, first)
    other_head, end, _width = tail_of(field, last)
    if head != other_head:
        raise BadValue("OTHER_HEAD", field, last.strip(), other=first.strip())
    if f"{head}{end:0{width}d}" != last.strip():
        raise BadValue("OTHER_WIDTH", field, last.strip(), other=first.strip())
    if end < number:
        raise BadValue("BACKWARDS", field, last.strip(), other=first.strip())
    return count_up(field, first, end - number + 1)
