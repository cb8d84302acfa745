"""What the tests of the answer page share: the morning they are played on, a pair of gloves, and reading a page."""

import random
import re
from datetime import UTC, date, datetime

from gear.rules import codes
from tests import builders

NOW = datetime(2026, 6, 1, 9, 52, 30, tzinfo=UTC)
CODES = [codes.new_code(random.Random(number)) for number in range(20)]
NOBODYS = CODES.pop()  # valid, never issued
GOOD_WORDS = ("GOOD THROUGH", "face-good")


def glove_pair(**columns):
    left = builders.glove(
        "G-1", hand="L", label=CODES[0], serial="TX 88123", maker="Northbay", type="I", **columns
    )
    right = builders.glove(
        "G-2", hand="R", label=CODES[1], serial="TX 88124", maker="Northbay", type="I", **columns
    )
    builders.gather(left, right, set_no="P-7")
    builders.tested(left, right, on=date(2026, 4, 1))
    return left, right


def text_of(response) -> str:
    html = re.sub(
        r"<(script|style|template|title|head)\b.*?</\1>", " ", response.content.decode(), flags=re.S
    )
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def says_good(response) -> bool:
    return any(word in response.content.decode() for word in GOOD_WORDS)
