"""Label codes: ten random symbols and one check symbol, printed as text and inside the QR address `BASE_URL/T/CODE`.

The alphabet leaves out every symbol of a look-alike group (0O, 1IL, 2Z, 5S, 8B, UV): 23 symbols remain, and 23 is a
prime. A code is valid when the sum of weight x value over its 11 places is 0 modulo 23, the weights being 11, 10 ... 1.

Why that catches the slips: modulo a prime, a product is 0 only if a factor is.
- One wrong symbol changes the sum by weight x (difference of values); both factors lie strictly between -23 and 23 and
  are not 0, so the sum is no longer 0.
- Two swapped symbols change it by (difference of weights) x (difference of values). All weights differ, so swapping any
  two unequal symbols is caught, neighbours or not, the check symbol included.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

ALPHABET = "34679ACDEFGHJKMNPQRTWXY"
DRAWN = 10
LENGTH = DRAWN + 1
WEIGHTS = tuple(range(LENGTH, 0, -1))
LONGEST = 300  # characters looked at; an own address is far shorter

_VALUES = {symbol: value for value, symbol in enumerate(ALPHABET)}
_LETTERS_AND_DIGITS = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ")
# Spaces and dashes of every width that a keyboard or a word processor may put between groups.
_GROUPING = dict.fromkeys(map(ord, " -\u00a0\u2010\u2011\u2012\u2013\u2014"))


@dataclass(frozen=True)
class ReadCode:
    """What a typed or scanned text is.

    `problem` is "" (a valid code, in `code`), "mistyped" (a code with a wrong, missing or extra symbol), "foreign"
    (an address, but not a label of this installation) or "unreadable" (anything else); then `code` is None.
    """

    code: str | None
    problem: str = ""

    @property
    def status(self) -> str:
        """ "ok", "mistyped", "foreign" or "unreadable"."""
        return self.problem or "ok"


def new_code(rng: Random) -> str:
    """A fresh code. Labels want `random.SystemRandom()`; a seeded generator repeats itself (demo data, tests)."""
    drawn = "".join(rng.choice(ALPHABET) for _ in range(DRAWN))
    return drawn + check_symbol(drawn)


def check_symbol(drawn: str) -> str:
    """The symbol that completes ten symbols of the alphabet. Raises ValueError for anything else."""
    if len(drawn) != DRAWN or any(symbol not in _VALUES for symbol in drawn):
        raise ValueError(f"A label code is drawn as {DRAWN} symbols out of {ALPHABET}.")
    return ALPHABET[-_weighted(drawn) % len(ALPHABET)]


def is_valid(code: str) -> bool:
    """Whether these are exactly 11 symbols of the alphabet, upper case, with the right check symbol."""
    return (
        len(code) == LENGTH
        and all(symbol in _VALUES for symbol in code)
        and _weighted(code) % len(ALPHABET) == 0
    )


def grouped(code: str) -> str:
    """As printed for people: 4-4-3."""
    return f"{code[:4]}-{code[4:8]}-{code[8:]}"


def normalise(text: str, *, base_url: str) -> ReadCode:
    """The code in what was typed or scanned: the bare code in groups or not, in either case, or an own address.

    An own address is `base_url` + "/t/" + code and nothing after it. Never raises, and never guesses a symbol.
    """
    if not isinstance(text, str) or len(text) > LONGEST:
        return ReadCode(None, "unreadable")
    stripped = text.strip()
    if "/" not in stripped and ":" not in stripped and "\\" not in stripped:
        return _read(stripped)
    own = base_url.rstrip("/").upper()
    address = _upper(stripped)
    if own and address.startswith(own + "/T/"):
        return _read(stripped[len(own) + len("/T/") :])
    return ReadCode(None, "unreadable" if own and address.startswith(own + "/") else "foreign")


def _read(text: str) -> ReadCode:
    symbols = _upper(text.translate(_GROUPING))
    if is_valid(symbols):
        return ReadCode(symbols)
    looks_like_one = abs(len(symbols) - LENGTH) <= 1 and all(one in _LETTERS_AND_DIGITS for one in symbols)
    return ReadCode(None, "mistyped" if looks_like_one else "unreadable")


def _upper(text: str) -> str:
    """Upper case of ASCII letters only: str.upper() would turn other letters (long s, dotless i) into these."""
    return "".join(one.upper() if one.isascii() else one for one in text)


def _weighted(symbols: str) -> int:
    # zip stops at the shorter: ten drawn symbols take the weights 11 to 2 and leave 1 to the check symbol.
    return sum(weight * _VALUES[symbol] for weight, symbol in zip(WEIGHTS, symbols, strict=False))
