"""A JSON body that could be read in two ways is refused with a sentence.

Outside source of the cases: RFC 8259 (names should be unique, no NaN, UTF-8) and the loose readings of the
standard library's json module that its documentation lists under "Standard Compliance".
"""

import io
from decimal import Decimal

import pytest
from rest_framework.exceptions import ParseError

from gear.api.parsing import StrictJSONParser


def parse(body):
    return StrictJSONParser().parse(io.BytesIO(body if isinstance(body, bytes) else body.encode()))


@pytest.mark.parametrize(
    ("body", "value"),
    [
        ('{"item_no": "G-00001"}', {"item_no": "G-00001"}),
        ('{"count": 12, "held": true, "lot": null}', {"count": 12, "held": True, "lot": None}),
        ('{"leakage_ma": 10.10}', {"leakage_ma": Decimal("10.10")}),  # exactly as written
        ('["é"]', ["é"]),
        ("9223372036854775807", 9223372036854775807),
    ],
)
def test_what_is_plain_is_read(body, value):
    assert parse(body) == value


@pytest.mark.parametrize(
    ("body", "sentence"),
    [
        ("", "not JSON: line 1, column 1"),
        ('{"a": 1,\n "b": }', "not JSON: line 2, column 7"),
        ("{'a': 1}", "not JSON"),
        ('{"a": 1} trailing', "not JSON"),
        ('{"a": "b\nc"}', "not JSON"),
        ('{"a": 1, "a": 2}', '"a" stands twice'),
        ('{"x": {"a": 1, "a": 1}}', '"a" stands twice'),
        ('{"a": NaN}', "NaN is not a number"),
        ('{"a": -Infinity}', "-Infinity is not a number"),
        ('{"a": 1e400}', "digits and a point"),
        ('{"a": 1.5e3}', "digits and a point"),
        ('{"a": ' + "9" * 5000 + "}", "too long"),
        ('{"a": 0.' + "1" * 30 + "}", "at most 20 characters"),
        ('{"a": "b\\u0000c"}', "NUL"),
        ('{"a\\u0000": 1}', "NUL"),
        ('["b\\u0000c"]', "NUL"),
        ('{"a": ["b\\u0000c"]}', "NUL"),
        ('"\\u0000"', "NUL"),
        ('{"a": "\\ud800"}', "half a character"),
        ("[" * 10_000 + "]" * 10_000, "nested too deeply"),
        ('{"a":' * 10_000 + "1" + "}" * 10_000, "nested too deeply"),
        (b'{"a": "\xff"}', "not UTF-8"),
        ('{"a": 1}'.encode("utf-16"), "not UTF-8"),
    ],
)
def test_what_is_doubtful_is_refused(body, sentence):
    with pytest.raises(ParseError, match=sentence):
        parse(body)
