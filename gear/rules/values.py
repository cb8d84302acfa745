"""Strict reading of one cell or one field: a value is what it plainly says, or it is refused with a reason."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

LONGEST = 200
_NUMBER = re.compile(r"-?[0-9]{1,6}(\.[0-9]{1,3})?")
_WHOLE = re.compile(r"[0-9]{1,9}")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_MOMENT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,6})?)?(Z|[+-][0-9]{2}:[0-9]{2})"
)
_ITEM_NO = re.compile(r"[A-Za-z0-9][A-Za-z0-9._#-]{0,39}")
_LOOK_ALIKE = str.maketrans({"O": "0", "o": "0", "I": "1", "i": "1", "l": "1", "|": "1", "_": "-", " ": "-"})
_MONTHS = "Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec"
# What a spreadsheet leaves of a name that it took for a number, a date or a formula.
_DAMAGE = re.compile(
    rf"[0-9](\.[0-9]{{1,15}})?E\+[0-9]{{1,3}}|({_MONTHS})-[0-9]{{2,4}}|[0-9]{{1,2}}-({_MONTHS})(-[0-9]{{2,4}})?"
    r"|#(REF!|N/A|VALUE!|NAME\?|DIV/0!|NUM!|NULL!)|#{3,}"
)

# code: English sentence; the edge translates it. Every code has one.
MESSAGES: Mapping[str, str] = {
    "MISSING": "{field} is missing. It is required.",
    "NOT_A_NUMBER": "{field} is not a plain number: {shown}. Write digits, with a point and at most 3 decimals.",
    "NOT_WHOLE": "{field} is not a whole number: {shown}.",
    "NEGATIVE": "{field} cannot be negative: {shown}.",
    "OUT_OF_RANGE": "{field} is out of range: {shown}. It lies between {least} and {most}; check the unit.",
    "UNIT": "{field} looks like another unit: {shown}. Give it in {unit}.",
    "NOT_A_DATE": "{field} is not a date like 2026-09-14: {shown}.",
    "SPREADSHEET_DATE": "{field} looks like a date that a spreadsheet turned into a number: {shown}. Write 2026-09-14.",
    "NOT_A_MOMENT": "{field} is not a time with its offset, like 2026-09-14T05:40:00-04:00: {shown}.",
    "FUTURE": "{field} lies in the future: {shown}.",
    "NOT_ONE_OF": "{field} is {shown}. It must be one of: {allowed}.",
    "TOO_LONG": "{field} is longer than {most} characters.",
    "CONTROL_CHARACTER": "{field} holds a character that cannot be seen. Type it again.",
    "BAD_NUMBER_OF_ITEM": "{field} may hold letters, digits and . _ # - only, at most 40: {shown}.",
    "SCIENTIFIC": "{field} looks like something that a spreadsheet rewrote: {shown}. Type it as text.",
    "WRONG_KIND": "{field} does not belong to this kind of item ({kind}). Leave it empty.",
    "ORDER": "{field} ({shown}) lies before {other} ({other_shown}).",
    "SAME_SERIAL": "{field} {shown} of this maker and hand is already on line {other}.",
    "REPEATED": "{field} {shown} stands on line {other} with other content. Keep one of the two.",
    "LOOKS_LIKE": "{field} {shown} can be mistaken for the one on line {other}. Check both; renumber one.",
    "MIXED_SET": "{field} {shown} holds another kind of item on line {other}.",
    "FORMULA": "{field} holds a formula. Save the sheet with values only.",
    "NUMBER_ROUNDED": "{field} has more digits than a spreadsheet keeps: {shown}. Format the column as text.",
    "NUMBER_SHOWN_OTHERWISE": "{field} is {shown} but is shown in another form. Format the column as text.",
    "BAD_CELL": "{field} holds a cell that is neither text, number nor date: {shown}.",
    "ROW_LENGTH": "This line has {count} fields, the header has {wanted}.",
    "HAND_NOT_STATED": "The hand is not stated; without it no pair is complete.",
    "CLASS_NOT_STATED": "The class is not stated; without it no test can be judged and no voltage named.",
    "LENGTH_NOT_STATED": "The length is not stated; without it no current can be judged.",
    "IN_FEET": "{field} {shown} is long for a jumper in metres. Is it in feet? A wrong length flips a verdict.",
    "UNIT_NOTE": "{field} {shown} {unit} is unusual. Is it in {perhaps}? It is kept as it stands.",
    "STUCK_METER": "{field}: {count} tests in a row read {shown}. Check the meter.",
    "NO_TAIL": "{field} does not end in digits: {shown}. It cannot be counted up; write one like G-01201.",
    "TOO_MANY": "{field}: {shown} is not 1 to {most}. Receive it in several parts.",
    "OTHER_HEAD": "{field}: {shown} begins otherwise than {other}. A range runs within one row of numbers.",
    "OTHER_WIDTH": "{field}: {shown} is written with another number of digits than {other}. Write both as marked.",
    "SETS_NOT_WHOLE": "{field}: {count} pieces make no whole number of sets of {shown}.",
    "BACKWARDS": "{field}: {shown} lies before {other}. The first comes first.",
    "CABLE_NOT_STATED": "Cable size or length is not stated; without them no resistance can be judged.",
}


class BadValue(ValueError):
    """A value that is refused. `code` is a key of MESSAGES, `values` fill its sentence."""

    def __init__(self, code: str, field: str, shown: object = "", **values: Any) -> None:
        self.code, self.field = code, field
        self.values = {"field": field, "shown": str(shown)[:60], **values}
        super().__init__(MESSAGES[code].format(**self.values))


def text(field: str, given: str, *, most: int = LONGEST) -> str:
    """Text in NFKC without outer space. Raises BadValue for unseen characters and for too much of it."""
    if len(given) > most * 4:
        raise BadValue("TOO_LONG", field, most=most)
    cleaned = unicodedata.normalize("NFKC", given).strip()
    if any(unicodedata.category(symbol) in ("Cc", "Cf", "Co", "Cs", "Zl", "Zp") for symbol in cleaned):
        raise BadValue("CONTROL_CHARACTER", field)
    if len(cleaned) > most:
        raise BadValue("TOO_LONG", field, most=most)
    return cleaned


def item_number(field: str, given: str) -> str:
    """An item or set number as the site writes it. Without a slash: it stands in addresses of pages."""
    cleaned = identifier(field, given)
    if not _ITEM_NO.fullmatch(cleaned):
        raise BadValue("BAD_NUMBER_OF_ITEM", field, cleaned)
    return cleaned


def identifier(field: str, given: str, *, most: int = LONGEST) -> str:
    """Text that names one piece or paper (serial, lot, size, report), not damaged by a spreadsheet."""
    cleaned = text(field, given, most=most)
    if _DAMAGE.fullmatch(cleaned):
        raise BadValue("SCIENTIFIC", field, cleaned)
    return cleaned


def decimal(field: str, given: str, *, negative: bool = False) -> Decimal:
    """A plain number with at most six digits before and three after the point. Never NaN, never 1e3."""
    shown = given.strip()
    if not _NUMBER.fullmatch(shown):
        raise BadValue("NOT_A_NUMBER", field, shown)
    if shown.startswith("-") and not negative:
        raise BadValue("NEGATIVE", field, shown)
    return Decimal(shown)


def whole(field: str, given: str) -> int:
    """A whole number, 0 or more; 20000.0 as a spreadsheet writes it is 20000."""
    shown = re.sub(r"\.0{1,3}\Z", "", given.strip())
    if shown.startswith("-") and _WHOLE.fullmatch(shown[1:]):
        raise BadValue("NEGATIVE", field, shown)
    if not _WHOLE.fullmatch(shown):
        raise BadValue("NOT_WHOLE", field, given.strip())
    return int(shown)


def day(field: str, given: str, *, not_after: date | None = None) -> date:
    """A date written YYYY-MM-DD, from 1900 to 2100, not after `not_after`."""
    shown = given.strip()
    if re.fullmatch(r"[0-9]{5}(\.0+)?", shown):
        raise BadValue("SPREADSHEET_DATE", field, shown)
    if not _DATE.fullmatch(shown):
        raise BadValue("NOT_A_DATE", field, shown)
    try:
        value = date.fromisoformat(shown)
    except ValueError:
        raise BadValue("NOT_A_DATE", field, shown) from None
    if not 1900 <= value.year <= 2100:
        raise BadValue("NOT_A_DATE", field, shown)
    if not_after is not None and value > not_after:
        raise BadValue("FUTURE", field, shown)
    return value


def moment(field: str, given: str) -> datetime:
    """An RFC 3339 time with its offset from UTC."""
    shown = given.strip()
    if not _MOMENT.fullmatch(shown):
        raise BadValue("NOT_A_MOMENT", field, shown)
    try:
        value = datetime.fromisoformat(shown)
    except ValueError:
        raise BadValue("NOT_A_MOMENT", field, shown) from None
    # The years of a day count here too: moments near the ends of the calendar cannot be brought to UTC.
    if not 1900 <= value.year <= 2100:
        raise BadValue("NOT_A_MOMENT", field, shown)
    return value


def one_of(field: str, given: str, allowed: Sequence[str]) -> str:
    """One of the allowed words, written exactly so."""
    shown = given.strip()
    if shown not in allowed:
        raise BadValue("NOT_ONE_OF", field, shown, allowed=", ".join(allowed))
    return shown


def yes_no(field: str, given: str) -> bool:
    """`yes` or `no`."""
    return one_of(field, given, ("yes", "no")) == "yes"


def skeleton(given: str) -> str:
    """What an eye in a hurry keeps of a number: O and 0 are one, so are I, l and 1, blanks and dashes, and case.

    Two numbers with one skeleton are easily confused. L stays: it marks the left of a pair on many sites, and G-1L is
    not taken for G-11.
    """
    plain = unicodedata.normalize("NFKC", given).strip()
    dashed = "".join("-" if unicodedata.category(symbol) == "Pd" else symbol for symbol in plain)
    return dashed.translate(_LOOK_ALIKE).casefold()
