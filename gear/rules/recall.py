"""A maker's notice: which pieces it is about, which are not, and which may be, because their record does not say."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

WORDS = ("maker", "model", "lot")
FIELDS = (*WORDS, "made_on")


@dataclass(frozen=True)
class Notice:
    """What a recall names; empty or None means "any". Both days of manufacture count.

    `without` are the fields whose absence from a record counts as belonging.
    """

    maker: str = ""
    model: str = ""
    lot: str = ""
    made_from: date | None = None
    made_to: date | None = None
    without: frozenset[str] = field(default_factory=frozenset)

    @property
    def asked(self) -> tuple[str, ...]:
        """The fields that the notice says something of, in the order of FIELDS."""
        dated = self.made_from is not None or self.made_to is not None
        return (*(name for name in WORDS if plain(getattr(self, name))), *(("made_on",) if dated else ()))

    def includes(self, missing: tuple[str, ...]) -> bool:
        """Whether a piece belongs whose record lacks these fields and agrees in all others."""
        return set(missing) <= self.without


def missing(notice: Notice, marks: Mapping[str, object]) -> tuple[str, ...] | None:
    """The fields asked for that a piece does not state, where all it states agrees; None where the notice is not of it.

    `marks` holds maker, model and lot as text and made_on as a date; empty or None means not stated. Raises
    ValueError for a notice that names nothing: it would be of everything.
    """
    if not notice.asked:
        raise ValueError("A recall names a maker, a model, a lot or a date of manufacture.")
    unstated = []
    for name in notice.asked:
        value = marks.get(name)
        if value in (None, "") or (isinstance(value, str) and not plain(value)):
            unstated.append(name)
        elif not _agrees(notice, name, value):
            return None
    return tuple(unstated)


def _agrees(notice: Notice, name: str, value: object) -> bool:
    if name == "made_on":
        if not isinstance(value, date):
            return False
        after = notice.made_from is None or notice.made_from <= value
        return after and (notice.made_to is None or value <= notice.made_to)
    return plain(str(value)) == plain(getattr(notice, name))


def plain(text: str) -> str:
    """Text as it is compared: capitals, blanks and the width of letters make no difference."""
    return " ".join(unicodedata.normalize("NFKC", text).split()).casefold()
