"""What a verification finds."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, order=True)
class Problem:
    """One thing that is not as it was recorded.

    `subject` is `item:G-01234`, `set:P-0007`, `site`, `seal:12`, `table:...` or `anchor:12`; `code` is stable; the
    sentence names the entry and says what to do.
    """

    subject: str
    code: str
    sentence: str
