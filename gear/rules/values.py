"""One cell or JSON value, read without guessing: what could be meant in two ways is refused, with a hint.

Every reader takes the text (or, from JSON, an int) and the name of its field, and raises BadValue; an empty value is
BadValue "EMPTY", because whether a field may be left out is not for its reader to say. Nothing is corrected silently.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from gear.rules.messages import english

FIRST_YEAR, LAST_YEAR = 1900, 2100
LONGEST_TEXT = 200
SHOWN = 40  # characters of a wrong value that are repeated in the sentence

_NUMBER = re.compile(r"[0-9]{1,6}(\.[0-9]{1,3})?")
_SIGNED = re.compile(r"-?[0-9]{1,6}(\.[0-9]{1,3})?")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_MOMENT = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})[Tt]((?:[01][0-9]|2[0-3]):[0-9]{2}:[0-9]{2}(?:\.[0-9]{1,6})?)([Zz]|[+-][0-9]{2}:[0-9]{2})"
)
_MONTHS = "Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec"
# What a spreadsheet makes of things it takes for numbers, dates and formulas. Tried in this order.
_DAMAGE: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("SPREADSHEET_ERROR", re.compile(r"#(REF|N/A|VALUE|NAME|DIV/0|NUM|NULL)[!?]?|#{3,}")),
    ("SPREADSHEET_NUMBER", re.compile(r"[0-9](\.[0-9]{1,15})?E\+[0-9]{1,3}")),
    ("SPREADSHEET_DATE", re.compile(rf"({_MONTHS})-[0-9]{{2,4}}|[0-9]{{1,2}}-({_MONTHS})(-[0-9]{{2,4}})?")),
)
# Why a text is no number, tried in this order.
_NO_NUMBER: tuple[tuple[str, re.Pattern[str]], ...] = (
    *_DAMAGE,
    ("DECIMAL_COMMA", re.compile(r"-?[0-9.]{0,20},[0-9,.]{0,20}")),
    ("NEGATIVE", re.compile(r"[-\u2212][0-9]{1,20}(\.[0-9]{1,20})?")),
    ("TOO_MANY_PLACES", re.compile(r"-?[0-9]{1,6}\.[0-9]{4,40}")),
    ("NUMBER_TOO_LARGE", re.compile(r"-?[0-9]{7,60}(\.[0-9]{0,40})?")),
    ("EXPONENT", re.compile(r"[+-]?[0-9.]{1,20}[eE][+-]?[0-9]{1,6}")),
    ("UNIT_IN_CELL", re.compile(r"-?[0-9]{1,20}(\.[0-9]{1,20})? ?[^\W\d_\u0660-\u0669]{1,8}")),
)
_NO_DAY: tuple[tuple[str, re.Pattern[str]], ...] = (
    *_DAMAGE,
    ("SPREADSHEET_SERIAL", re.compile(r"[0-9]{5}(\.[0-9]{1,20})?")),
    ("DATE_WITHOUT_DASHES", re.compile(r"[0-9]{8}")),
    ("DATE_WITH_TIME", re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ].{1,40}")),
    ("DATE_ORDER_UNCLEAR", re.compile(r"[0-9]{1,4}[./-][0-9]{1,2}[./-][0-9]{1,4}")),
)
_REFUSED_CATEGORIES = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
_LOOK_ALIKES = str.maketrans({"O": "0", "o": "0", "I": "1", "i": "1", "l": "1", "|": "1", "_": "-", " ": "-"})


@dataclass(frozen=True)
class Problem:
    """What is wrong with one line of a file, as a code of gear.rules.messages and the values of its sentence.

    `line` is the physical line of a CSV file or the row of a sheet, 0 for the file as a whole; `field` the column or
    "". With `refused` False it is a note: the row is taken as it stands.
    """

    line: int
    field: str
    code: str
    values: Mapping[str, Any] = field(default_factory=dict)
    refused: bool = True


class BadValue(ValueError):
    """A value that cannot be read: `code` and `values` for gear.rules.messages, `shown` the start of the value."""

    def __init__(self, code: str, field: str, shown: object = "", **values: Any) -> None:
        self.code = code
        self.field = field
        self.shown = _showable(shown)
        self.values = {"shown": self.shown, **values}
        super().__init__(english(code, field=field, **self.values))

    def at(self, line: int) -> Problem:
        """The same as a problem of a line."""
        return Problem(line, self.field, self.code, self.values)


def decimal(
    value: object,
    *,
    field: str,
    least: Decimal | int | None = None,
    most: Decimal | int | None = None,
    signed: bool = False,
) -> Decimal:
    """Digits with at most three decimals after a point, within `least` and `most`; a minus sign only if `signed`."""
    text = _stripped(value, field)
    if not (_SIGNED if signed else _NUMBER).fullmatch(text):
        raise BadValue(_first_match(_NO_NUMBER, text, "NOT_A_NUMBER"), field, text)
    number = Decimal(text)
    # Written so that only a number inside both limits gets through.
    if (least is None or number >= least) and (most is None or number <= most):
        return number
    raise BadValue("OUT_OF_RANGE", field, text, least=_or_none(least), most=_or_none(most))


def integer(value: object, *, field: str, least: int | None = None, most: int | None = None) -> int:
    """A whole number of at most six digits; "20000.0" is one, as spreadsheets write it."""
    number = decimal(value, field=field, least=least, most=most)
    if number != number.to_integral_value():
        raise BadValue("NOT_WHOLE", field, str(value))
    return int(number)


def day(value: object, *, field: str) -> date:
    """A day written YYYY-MM-DD, from 1900 to 2100."""
    text = _stripped(value, field)
    if not _DAY.fullmatch(text):
        raise BadValue(_first_match(_NO_DAY, text, "NOT_A_DATE"), field, text)
    try:
        read = date.fromisoformat(text)
    except ValueError:
        raise BadValue("NO_SUCH_DAY", field, text) from None
    if not FIRST_YEAR <= read.year <= LAST_YEAR:
        raise BadValue("YEAR_OUT_OF_RANGE", field, text, least=FIRST_YEAR, most=LAST_YEAR)
    return read


def moment(value: object, *, field: str) -> datetime:
    """An RFC 3339 moment with its offset, as an aware UTC datetime. A leap second (:60) is refused, never rounded."""
    text = _stripped(value, field)
    read = _MOMENT.fullmatch(text)
    if read is None:
        without_offset = _MOMENT.fullmatch(text + "Z")
        raise BadValue("NO_OFFSET" if without_offset else "NOT_A_MOMENT", field, text)
    day(read[1], field=field)
    try:
        return datetime.fromisoformat(f"{read[1]}T{read[2]}{read[3].upper()}").astimezone(UTC)
    except (ValueError, OverflowError):
        raise BadValue("NO_SUCH_MOMENT", field, text) from None


def yes_no(value: object, *, field: str) -> bool:
    """The words yes or no; nothing else counts as either."""
    return word(value, field=field, allowed=("yes", "no")) == "yes"


def word(value: object, *, field: str, allowed: Iterable[str]) -> str:
    """One of the allowed words, spelled exactly so."""
    text = _stripped(value, field)
    words = tuple(allowed)
    if text in words:
        return text
    damage = _first_match(_DAMAGE, text, "NOT_ONE_OF")
    raise BadValue(damage, field, text, allowed=", ".join(words))


def text(value: object, *, field: str, longest: int = LONGEST_TEXT) -> str:
    """Text on one line, in Unicode form NFKC and stripped, without control, invisible or unassigned characters."""
    stripped = _stripped(value, field)
    if len(stripped) > longest:
        raise BadValue("TOO_LONG", field, stripped, longest=longest)
    # Looked at before NFKC too: it must not hide what was sent.
    for one in stripped:
        if unicodedata.category(one) in _REFUSED_CATEGORIES:
            raise BadValue("HIDDEN_CHARACTER", field, stripped, character=f"U+{ord(one):04X}")
    read = unicodedata.normalize("NFKC", stripped).strip()
    if not read:
        raise BadValue("EMPTY", field)
    if len(read) > longest:
        raise BadValue("TOO_LONG", field, stripped, longest=longest)
    return read


def identifier(value: object, *, field: str, longest: int = LONGEST_TEXT) -> str:
    """Text that names one piece of gear or paper (serial, lot, report number), not damaged by a spreadsheet."""
    read = text(value, field=field, longest=longest)
    if damage := _first_match(_DAMAGE, read, ""):
        raise BadValue(damage, field, read)
    return read


def item_no(value: object, *, field: str = "item_no") -> str:
    """The site's own number of an item or a set: an identifier of at most 40 characters that fits into an address."""
    read = identifier(value, field=field, longest=40)
    if "/" in read or "\\" in read or not read.strip("."):
        raise BadValue("NOT_AN_ITEM_NO", field, read)
    return read


def skeleton(text: str) -> str:
    """What is left of a text for an eye in a hurry: O and 0 are one, so are I, l and 1, blanks and dashes, and case.

    Two different numbers with one skeleton would be mistaken for each other. L and l stay apart: an L marks the left
    of a pair on many sites, and G-1L is not taken for G-11.
    """
    plain = unicodedata.normalize("NFKC", text).strip()
    dashed = "".join("-" if unicodedata.category(one) == "Pd" else one for one in plain)
    return dashed.translate(_LOOK_ALIKES).casefold()


def _stripped(value: object, field: str) -> str:
    """The value as text without spaces around it. A no-break space stays, and is then named as what is wrong."""
    if isinstance(value, int) and not isinstance(value, bool):
        value = str(value) if abs(value) < 10**30 else "9" * 30
    if value is None:
        raise BadValue("EMPTY", field)
    if not isinstance(value, str):
        raise BadValue("NOT_TEXT", field, value)
    stripped = value.strip(" \t")
    if not stripped:
        raise BadValue("EMPTY", field)
    return stripped


def _first_match(patterns: Iterable[tuple[str, re.Pattern[str]]], text: str, otherwise: str) -> str:
    return next((code for code, pattern in patterns if pattern.fullmatch(text)), otherwise)


def _or_none(limit: Decimal | int | None) -> str:
    return "-" if limit is None else str(limit)


def _showable(value: object) -> str:
    """The start of a wrong value, fit for a screen: nothing invisible, no second line."""
    shown = str(value)[: SHOWN + 1]
    clean = "".join("\ufffd" if unicodedata.category(one) in _REFUSED_CATEGORIES else one for one in shown)
    return clean if len(clean) <= SHOWN else clean[:SHOWN] + "\u2026"
