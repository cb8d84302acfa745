"""One cell at a time: read as it was plainly meant, or refused with what is wrong."""

import contextlib
import string
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gear.rules import values
from gear.rules.values import BadValue

TODAY = date(2026, 9, 14)


def refusal(reader, given_text, **options):
    with pytest.raises(BadValue) as caught:
        reader("some_field", given_text, **options)
    assert str(caught.value).startswith("some_field ")
    assert caught.value.field == "some_field"
    return caught.value.code


# Numbers ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["0", "16", "16.1", "0.001", "999999.999", " 16.4 ", "007"])
def test_a_number_is_digits_with_at_most_three_decimals(text):
    assert values.decimal("leakage_ma", text) == Decimal(text.strip())


@pytest.mark.parametrize(
    "text",
    [
        "",
        *("1,5", "1,500", "1.500,0", "1 000", "1_000", "1.2.3"),
        *("1e3", "1E+05", "1e400", "0x10", "+5", "--1", ".5", "5.", "<5"),
        *("NaN", "nan", "Infinity", "inf", "true", "-"),
        *("1.0001", "16.100000000000001", "1000000", "1" * 400),
        *("16 mA", "20kV", "Jan-05", "#REF!", "########"),
        # Arabic-Indic, full width, superscript, invisible, a look-alike minus
        *("\u0661\u0662", "\uff11\uff12", "\u00b2", "5\u200b", "1\x00", "\u22125"),
    ],
)
def test_every_other_spelling_of_a_number_is_refused(text):
    assert refusal(values.decimal, text) == "NOT_A_NUMBER"
    assert refusal(values.decimal, text, negative=True) == "NOT_A_NUMBER"


@pytest.mark.parametrize("text", ["-1", "-0.001", "-0"])
def test_a_reading_below_zero_is_named_as_such(text):
    assert refusal(values.decimal, text) == "NEGATIVE"


@pytest.mark.parametrize("text", ["-40", "-0.5", "21.4", "0"])
def test_only_a_temperature_may_be_negative(text):
    assert values.decimal("cable_temp_c", text, negative=True) == Decimal(text)


@pytest.mark.parametrize(("text", "number"), [("20000", 20000), ("20000.0", 20000), (" 60 ", 60), ("0", 0)])
def test_a_whole_number_may_carry_idle_zeros(text, number):
    read = values.whole("applied_v", text)
    assert (read, type(read)) == (number, int)


@pytest.mark.parametrize(
    ("text", "code"),
    [("0.5", "NOT_WHOLE"), ("20000.001", "NOT_WHOLE"), ("20,000", "NOT_WHOLE"), ("1e3", "NOT_WHOLE"),
     ("20 kV", "NOT_WHOLE"), ("\u0661", "NOT_WHOLE"), ("-60", "NEGATIVE"), ("-60.0", "NEGATIVE")],
)  # fmt: skip
def test_anything_else_is_no_whole_number(text, code):
    assert refusal(values.whole, text) == code


@given(st.text(alphabet=string.digits + ".-+eE, \u0661\uff11\u00b2_xX", max_size=12))
def test_a_number_is_read_only_where_its_spelling_says_so(text):
    try:
        number = values.decimal("leakage_ma", text)
    except BadValue:
        return
    assert set(text.strip()) <= set(string.digits + ".")
    assert number == Decimal(text.strip())
    assert number.is_finite()


# Days and moments ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2026-01-05", date(2026, 1, 5)),
        (" 2024-02-29 ", date(2024, 2, 29)),
        ("1900-01-01", date(1900, 1, 1)),
        ("2100-12-31", date(2100, 12, 31)),
    ],
)
def test_a_day_is_written_year_month_day(text, day):
    assert values.day("tested_on", text) == day


@pytest.mark.parametrize(
    "text",
    [
        "",
        # could be read in two ways
        *("05/01/2026", "01/02/26", "2026/01/05", "05.01.2026", "26-01-05", "Jan-05", "5-Jan-2026"),
        # other forms of ISO 8601
        *(
            "20260105",
            "2026-W01-1",
            "2026-005",
            "2026-01",
            "2026-1-5",
            "2026-01-05T10:00Z",
            "2026-01-05 00:00:00",
        ),
        # no day of the calendar, or none that gear can have
        *("2026-02-29", "2026-04-31", "2026-13-01", "2026-00-10", "0000-01-01", "0001-01-01", "1899-12-31"),
        *("2101-01-01", "9999-12-31"),
        *("today", "5 January 2026", "########", "\u0662\u0660\u0662\u0666-01-05", "2026\u201301\u201305"),
    ],
)
def test_every_other_spelling_of_a_day_is_refused(text):
    assert refusal(values.day, text) == "NOT_A_DATE"


@pytest.mark.parametrize("text", ["46023", "46023.0", "44561"])
def test_a_day_as_a_spreadsheet_counts_it_is_named_as_such(text):
    """46023 is 2026-01-01 counted from 1900, and 2030-01-02 counted from 1904: nobody can say which."""
    assert refusal(values.day, text) == "SPREADSHEET_DATE"


@pytest.mark.parametrize(("text", "future"), [("2026-09-14", False), ("2026-09-15", True)])
def test_today_is_not_the_future(text, future):
    if future:
        assert refusal(values.day, text, not_after=TODAY) == "FUTURE"
    else:
        assert values.day("tested_on", text, not_after=TODAY) == TODAY


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("2026-09-10T05:52:00-04:00", datetime(2026, 9, 10, 9, 52, tzinfo=UTC)),
        ("2026-09-10T05:52Z", datetime(2026, 9, 10, 5, 52, tzinfo=UTC)),
        ("2026-09-10T05:52:00.25+05:30", datetime(2026, 9, 10, 0, 22, 0, 250000, tzinfo=UTC)),
    ],
)
def test_a_moment_has_its_offset(text, moment):
    assert values.moment("occurred_at", text) == moment


@pytest.mark.parametrize(
    "text",
    [
        *(
            "2026-01-05T10:00:00",
            "2026-01-05",
            "2026-01-05 10:00:00Z",
            "2026-W01-1T10:00:00Z",
            "20260105T100000Z",
        ),
        *("2026-01-05T10:00:00+0100", "2026-01-05T10:00:00+01", "2026-01-05T10:00:00.1234567Z", "1767607200"),
        *(
            "2026-12-31T23:59:60Z",
            "2026-01-05T25:00:00Z",
            "2026-01-05T10:00:00+24:00",
            "2026-02-30T10:00:00Z",
        ),
        *("0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00"),
    ],
)
def test_every_other_spelling_of_a_moment_is_refused(text):
    assert refusal(values.moment, text) == "NOT_A_MOMENT"


@given(st.datetimes(timezones=st.timezones() | st.just(UTC)))
def test_a_moment_of_any_year_is_read_exactly_or_refused(moment):
    whole = moment.replace(microsecond=0)
    if (whole.utcoffset() or timedelta(0)).total_seconds() % 60:
        return  # RFC 3339 offsets are whole minutes; early local mean times are not
    try:
        read = values.moment("occurred_at", whole.isoformat())
    except BadValue:
        assert not 1900 <= whole.year <= 2100
    else:
        # PEP 495: a folded local time never equals one of another zone, so both are compared in UTC.
        assert read.astimezone(UTC) == whole.astimezone(UTC)


# Words, text, names ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("text", "expected"), [("yes", True), ("no", False), (" yes ", True)])
def test_yes_and_no_are_words(text, expected):
    assert values.yes_no("breakdown", text) is expected


@pytest.mark.parametrize(
    "text", ["Yes", "y", "true", "TRUE", "on", "t", "1", "0", "1.0", "false", "none", ""]
)
def test_nothing_else_counts_as_yes_or_no(text):
    assert refusal(values.yes_no, text) == "NOT_ONE_OF"


def test_a_word_outside_its_list_is_answered_with_the_list():
    with pytest.raises(BadValue, match=r"hand is left\. It must be one of: L, R\."):
        values.one_of("hand", "left", ("L", "R"))


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("  Tannery Road ", "Tannery Road"),
        ("\uff27-01234", "G-01234"),
        ("a\u00a0b", "a b"),
        ("e\u0301", "\u00e9"),
        ('36" x 36"', '36" x 36"'),
    ],
)
def test_text_is_stripped_and_brought_to_one_form(typed, read):
    assert values.text("model", typed) == read


@pytest.mark.parametrize(
    "hidden",
    ["\x00", "\n", "\r", "\t", "\x1b", "\x7f", "\u00ad", "\u200b", "\u200d", "\u202e", "\u2028", "\ufeff"],
)
def test_text_with_what_cannot_be_seen_is_refused(hidden):
    assert refusal(values.text, f"G-0{hidden}1234") == "CONTROL_CHARACTER"


@pytest.mark.parametrize(("length", "fits"), [(200, True), (201, False), (100_000, False)])
def test_text_has_a_longest(length, fits):
    if fits:
        assert values.text("model", "x" * length) == "x" * length
    else:
        assert refusal(values.text, "x" * length) == "TOO_LONG"


def test_text_that_grows_by_its_normal_form_is_measured_afterwards():
    assert refusal(values.text, "\ufdfa" * 20) == "TOO_LONG"


@pytest.mark.parametrize(
    "text",
    ["1E+05", "1.23457E+11", "Jan-05", "11-Oct", "5-Jan-2026", "#VALUE!", "#REF!", "#N/A", "#NAME?", "####"],
)
def test_a_name_that_a_spreadsheet_damaged_is_refused(text):
    assert refusal(values.identifier, text) == "SCIENTIFIC"


@pytest.mark.parametrize("text", ["00123", "46023", "E-05", "MAR-12", "JAN-05", "1E5", "#2", "36 x 36"])
def test_a_name_that_only_resembles_damage_stays(text):
    assert values.identifier("serial", text) == text


@pytest.mark.parametrize("text", ["G-01234", "7", "P#3", "a.b_c", "x" * 40])
def test_an_item_number_is_the_sites_own(text):
    assert values.item_number("item_no", text) == text


@pytest.mark.parametrize("text", ["G/1", "G\\1", ".", "..", "-1", "=1", "G 1", "x" * 41, "\u0413-1", "G-1?"])
def test_an_item_number_must_fit_into_an_address(text):
    assert refusal(values.item_number, text) == "BAD_NUMBER_OF_ITEM"


@pytest.mark.parametrize(
    "one", ["G-O1234", "G-0I234", "G-0l234", "g-01234", "G 01234", "G_01234", "G\u201301234", "\uff27-01234"]
)
def test_look_alikes_share_a_skeleton(one):
    assert values.skeleton(one) == values.skeleton("G-01234")


@pytest.mark.parametrize(
    ("one", "other"),
    [("G-1L", "G-11"), ("G-12-3", "G-1-23"), ("G-0123", "G-1023"), ("A-1", "B-1"), ("5-1", "S-1")],
)
def test_different_numbers_keep_different_skeletons(one, other):
    assert values.skeleton(one) != values.skeleton(other)


@given(st.text(max_size=230))
def test_no_text_makes_a_reader_raise_anything_but_bad_value(text):
    readers = (
        values.decimal,
        values.whole,
        values.day,
        values.moment,
        values.yes_no,
        values.text,
        values.identifier,
    )
    for reader in (*readers, values.item_number):
        with contextlib.suppress(BadValue):
            reader("leakage_ma", text)
