"""Reads a JSON body without guessing: what one reader could take in two ways is refused."""

import json
from decimal import Decimal
from typing import Any, NoReturn

from django.utils.translation import gettext as _
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser

LONGEST_NUMBER = 20  # characters; the widest integer a database column here can hold has 19 digits


class StrictJSONParser(BaseParser):
    """One JSON value in UTF-8. Refuses repeated names, NaN, infinities, huge numbers, NUL and deep nests."""

    media_type = "application/json"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        """Raises ParseError (400) with a sentence that names what is wrong."""
        try:
            value = json.loads(
                stream.read().decode("utf-8"),
                object_pairs_hook=_without_repeats,
                parse_constant=_refuse_constant,
                parse_int=_whole_number,
                parse_float=_decimal_number,
                strict=True,
            )
            _refuse_odd_text(value)
            return value
        except UnicodeDecodeError as problem:
            raise ParseError(_("The body is not UTF-8 text.")) from problem
        except RecursionError as problem:
            raise ParseError(_("The body is nested too deeply.")) from problem
        except json.JSONDecodeError as problem:
            sentence = _("The body is not JSON: line %(line)s, column %(column)s.")
            raise ParseError(sentence % {"line": problem.lineno, "column": problem.colno}) from problem


def _without_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in pairs:
        if name in found:
            raise ParseError(_("The name %(name)s stands twice in one object.") % {"name": json.dumps(name)})
        found[name] = value
    return found


def _refuse_odd_text(value: Any) -> None:
    """Databases store neither NUL nor half of a surrogate pair."""
    if isinstance(value, dict):
        for name, part in value.items():
            _refuse_odd_text(name)
            _refuse_odd_text(part)
    elif isinstance(value, list):
        for part in value:
            _refuse_odd_text(part)
    elif isinstance(value, str):
        if "\x00" in value:
            raise ParseError(_("A NUL character stands in %(text)s.") % {"text": json.dumps(value[:40])})
        if any("\ud800" <= letter <= "\udfff" for letter in value):
            raise ParseError(
                _("Only half a character stands in %(text)s.") % {"text": json.dumps(value[:40])}
            )


def _refuse_constant(word: str) -> NoReturn:
    raise ParseError(_("%(word)s is not a number.") % {"word": word})


def _whole_number(digits: str) -> int:
    if len(digits) > LONGEST_NUMBER:
        raise ParseError(_("A number in the body is too long."))
    return int(digits)


def _decimal_number(digits: str) -> Decimal:
    """Exactly as written: a reading such as 0.1 is never turned into a binary fraction."""
    if len(digits) > LONGEST_NUMBER or "e" in digits.lower():
        sentence = _("Write %(number)s with digits and a point, at most 20 characters.")
        raise ParseError(sentence % {"number": digits[:40]})
    return Decimal(digits)
