"""Label codes: ten random symbols and a check symbol, typed by hand when the QR is scratched.

A code v1..v11 is valid when 11*v1 + 10*v2 + ... + 1*v11 is 0 modulo 23, the prime size of the alphabet. No weight is
0 modulo 23, so one wrong symbol always changes the sum; neighbouring weights differ by 1, so swapping two different
neighbours always does too (the argument behind the ISBN-10 check digit).
"""

from __future__ import annotations

import random
import re
from dataclasses import dataclass
from urllib.parse import urlsplit

# No look-alikes: of 0 O Q D only D, no 1 I L, of 2 Z only 2, no 5 S, no 8 B, of U V only V, of 6 G only 6.
ALPHABET = "234679ACDEFHJKMNPRTVWXY"
RANDOM_SYMBOLS = 10
LENGTH = RANDOM_SYMBOLS + 1
LONGEST_INPUT = 300
_VALUE = {symbol: value for value, symbol in enumerate(ALPHABET)}
_PATH = re.compile(r"/T/([^/?#]{1,40})/?\Z")


@dataclass(frozen=True)
class Read:
    """What a scan or a typed text is: a valid code, or None and why (mistyped, foreign, unreadable)."""

    code: str | None
    problem: str = ""


def check_symbol(ten: str) -> str:
    """The symbol that makes ten symbols a valid code. Raises KeyError for a symbol outside the alphabet."""
    return ALPHABET[-_weighted(ten) % len(ALPHABET)]


def new_code(rng: random.Random) -> str:
    """A fresh code; give random.SystemRandom() where nobody may guess it."""
    ten = "".join(rng.choice(ALPHABET) for _ in range(RANDOM_SYMBOLS))
    return ten + check_symbol(ten)


def is_valid(code: str) -> bool:
    """Whether the text is eleven symbols of the alphabet that agree with the check symbol."""
    return (
        len(code) == LENGTH
        and all(symbol in _VALUE for symbol in code)
        and _weighted(code) % len(ALPHABET) == 0
    )


def grouped(code: str) -> str:
    """The code as printed: 4-4-3."""
    return f"{code[:4]}-{code[4:8]}-{code[8:]}"


def normalise(text: str, *, base_url: str) -> Read:
    """Read a typed code (any case, spaces and dashes as grouping) or the full address of this site's label."""
    text = text.strip() if len(text) <= LONGEST_INPUT else ""
    if not text or not text.isascii() or not text.isprintable():
        return Read(None, "unreadable")
    if ":" in text or "/" in text:
        found = _code_in_address(text, base_url)
        if found is None:
            return Read(None, "foreign")
        text = found
    code = re.sub(r"[ \-]", "", text).upper()
    if is_valid(code):
        return Read(code)
    return Read(None, "mistyped" if 8 <= len(code) <= 14 else "unreadable")


def _code_in_address(text: str, base_url: str) -> str | None:
    """The code in an address of this installation, None for any other address."""
    try:
        given, own = urlsplit(text.upper()), urlsplit(base_url.upper())
        same = (given.scheme, given.hostname, given.port) == (own.scheme, own.hostname, own.port)
    except ValueError:
        return None
    path = given.path.removeprefix(own.path.rstrip("/"))
    match = (
        _PATH.match(path) if same and not given.query and not given.fragment and not given.username else None
    )
    return match[1] if match else None


def _weighted(symbols: str) -> int:
    return sum(weight * _VALUE[symbol] for weight, symbol in zip(range(LENGTH, 0, -1), symbols, strict=False))
