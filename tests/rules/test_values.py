"""One value at a time: read as it was meant, or refused with what is wrong."""

import string
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gear.rules import values
from gear.rules.values import BadValue


def refusal(reader, value, **options):
    with pytest.raises(BadValue) as caught:
        reader(value, field="leakage_ma", **options)
    assert caught.value.field == "leakage_ma"
    assert str(caught.value)
    return caught.value.code


# Numbers ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("0", "0"),
        ("16", "16"),
        ("16.1", "16.1"),
        ("0.001", "0.001"),
        ("999999.999", "999999.999"),
        (" 16.4\t", "16.4"),
        ("007", "7"),
        (20000, "20000"),
    ],
)
def test_a_number_is_digits_with_at_most_three_decimals(text, number):
    assert values.decimal(text, field="leakage_ma") == Decimal(number)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "EMPTY"),
        ("  ", "EMPTY"),
        (None, "EMPTY"),
        ("1,5", "DECIMAL_COMMA"),
        ("1,500", "DECIMAL_COMMA"),
        ("1.500,0", "DECIMAL_COMMA"),
        ("-1", "NEGATIVE"),
        ("-0.001", "NEGATIVE"),
        ("\u22125", "NEGATIVE"),
        ("1.0001", "TOO_MANY_PLACES"),
        ("16.100000000000001", "TOO_MANY_PLACES"),
        ("1000000", "NUMBER_TOO_LARGE"),
        ("12345678901234567890", "NUMBER_TOO_LARGE"),
        (10**400, "NUMBER_TOO_LARGE"),
        ("1E+05", "SPREADSHEET_NUMBER"),
        ("1.2E+12", "SPREADSHEET_NUMBER"),
        ("1e3", "EXPONENT"),
        ("1e400", "EXPONENT"),
        ("16 mA", "UNIT_IN_CELL"),
        ("20kV", "UNIT_IN_CELL"),
        ("Jan-05", "SPREADSHEET_DATE"),
        ("16-Jan", "SPREADSHEET_DATE"),
        ("#REF!", "SPREADSHEET_ERROR"),
        ("#N/A", "SPREADSHEET_ERROR"),
        ("########", "SPREADSHEET_ERROR"),
        ("NaN", "NOT_A_NUMBER"),
        ("nan", "NOT_A_NUMBER"),
        ("Infinity", "NOT_A_NUMBER"),
        ("-inf", "NOT_A_NUMBER"),
        ("0x10", "NOT_A_NUMBER"),
        ("+5", "NOT_A_NUMBER"),
        (".5", "NOT_A_NUMBER"),
        ("5.", "NOT_A_NUMBER"),
        ("1_000", "NOT_A_NUMBER"),
        ("1 000", "NOT_A_NUMBER"),
        ("1.2.3", "NOT_A_NUMBER"),
        ("--1", "NOT_A_NUMBER"),
        ("<5", "NOT_A_NUMBER"),
        ("\u0661\u0662", "NOT_A_NUMBER"),  # Arabic-Indic
        ("\uff11\uff12", "NOT_A_NUMBER"),  # full width
        ("\u00b2", "NOT_A_NUMBER"),
        ("1\u00a0000", "NOT_A_NUMBER"),
        ("5\n", "NOT_A_NUMBER"),
        ("5\u200b", "NOT_A_NUMBER"),
        ("1\x00", "NOT_A_NUMBER"),
        (16.1, "NOT_TEXT"),
        (True, "NOT_TEXT"),
        (["5"], "NOT_TEXT"),
        (b"5", "NOT_TEXT"),
    ],
)
def test_every_other_spelling_of_a_number_is_refused_and_named(text, code):
    assert refusal(values.decimal, text) == code


@pytest.mark.parametrize("text", ["-40", "-0.5", "21.4", "0"])
def test_only_a_temperature_may_be_negative(text):
    assert values.decimal(text, field="cable_temp_c", signed=True) == Decimal(text)


@pytest.mark.parametrize("text", ["--5", "+5", "-", "- 5", "-1e3"])
def test_a_sign_does_not_open_the_door_to_other_spellings(text):
    with pytest.raises(BadValue):
        values.decimal(text, field="cable_temp_c", signed=True)


@pytest.mark.parametrize(
    ("text", "inside"), [("-40.001", False), ("-40", True), ("80", True), ("80.001", False)]
)
def test_both_ends_of_a_range_belong_to_it(text, inside):
    def read():
        return values.decimal(text, field="leakage_ma", least=-40, most=80, signed=True)

    if inside:
        assert read() == Decimal(text)
    else:
        with pytest.raises(BadValue, match="between -40 and 80"):
            read()


@pytest.mark.parametrize(("text", "number"), [("20000", 20000), ("20000.0", 20000), (60, 60), ("0", 0)])
def test_a_whole_number_may_carry_idle_zeros(text, number):
    read = values.integer(text, field="applied_v")
    assert (read, type(read)) == (number, int)


@pytest.mark.parametrize("text", ["0.5", "20000.001"])
def test_a_fraction_is_no_whole_number(text):
    assert refusal(values.integer, text) == "NOT_WHOLE"


@given(st.text(alphabet=string.digits + ".-+eE, \u0661\uff11\u00b2_xX", max_size=12))
def test_a_number_is_read_only_where_its_spelling_says_so(text):
    try:
        number = values.decimal(text, field="leakage_ma")
    except BadValue:
        return
    spelled = text.strip(" ")
    assert set(spelled) <= set(string.digits + ".")
    assert number == Decimal(spelled)
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
    assert values.day(text, field="tested_on") == day


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("46023", "SPREADSHEET_SERIAL"),
        ("46023.5", "SPREADSHEET_SERIAL"),
        (46023, "SPREADSHEET_SERIAL"),
        ("Jan-05", "SPREADSHEET_DATE"),
        ("5-Jan-2026", "SPREADSHEET_DATE"),
        ("05-Jan-26", "SPREADSHEET_DATE"),
        ("4.6E+04", "SPREADSHEET_NUMBER"),
        ("########", "SPREADSHEET_ERROR"),
        ("20260105", "DATE_WITHOUT_DASHES"),
        (20260105, "DATE_WITHOUT_DASHES"),
        ("05/01/2026", "DATE_ORDER_UNCLEAR"),
        ("01/02/26", "DATE_ORDER_UNCLEAR"),
        ("2026/01/05", "DATE_ORDER_UNCLEAR"),
        ("05.01.2026", "DATE_ORDER_UNCLEAR"),
        ("26-01-05", "DATE_ORDER_UNCLEAR"),
        ("2026-1-5", "DATE_ORDER_UNCLEAR"),
        ("2026-01-05 00:00:00", "DATE_WITH_TIME"),
        ("2026-01-05T10:00Z", "DATE_WITH_TIME"),
        ("2026-W01-1", "NOT_A_DATE"),
        ("2026-005", "NOT_A_DATE"),
        ("2026-01", "NOT_A_DATE"),
        ("5 January 2026", "NOT_A_DATE"),
        ("today", "NOT_A_DATE"),
        ("\u0662\u0660\u0662\u0666-01-05", "NOT_A_DATE"),
        ("2026\u201301\u201305", "NOT_A_DATE"),
        ("2026-02-29", "NO_SUCH_DAY"),
        ("2026-04-31", "NO_SUCH_DAY"),
        ("2026-13-01", "NO_SUCH_DAY"),
        ("2026-00-10", "NO_SUCH_DAY"),
        ("0000-01-01", "NO_SUCH_DAY"),
        ("0001-01-01", "YEAR_OUT_OF_RANGE"),
        ("1899-12-31", "YEAR_OUT_OF_RANGE"),
        ("2101-01-01", "YEAR_OUT_OF_RANGE"),
        ("9999-12-31", "YEAR_OUT_OF_RANGE"),
        ("", "EMPTY"),
        (None, "EMPTY"),
    ],
)
def test_every_other_spelling_of_a_day_is_refused_and_named(text, code):
    assert refusal(values.day, text) == code


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("2026-09-10T05:52:00-04:00", datetime(2026, 9, 10, 9, 52, tzinfo=UTC)),
        ("2026-09-10t05:52:00z", datetime(2026, 9, 10, 5, 52, tzinfo=UTC)),
        ("2026-09-10T05:52:00.25+05:30", datetime(2026, 9, 10, 0, 22, 0, 250000, tzinfo=UTC)),
    ],
)
def test_a_moment_has_its_offset_and_becomes_utc(text, moment):
    read = values.moment(text, field="occurred_at")
    assert (read, read.utcoffset()) == (moment, timedelta(0))


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("2026-01-05T10:00:00", "NO_OFFSET"),
        ("2026-01-05", "NOT_A_MOMENT"),
        ("2026-01-05T10:00Z", "NOT_A_MOMENT"),
        ("2026-01-05 10:00:00Z", "NOT_A_MOMENT"),
        ("2026-W01-1T10:00:00Z", "NOT_A_MOMENT"),
        ("20260105T100000Z", "NOT_A_MOMENT"),
        ("2026-01-05T10:00:00+0100", "NOT_A_MOMENT"),
        ("2026-01-05T10:00:00+01", "NOT_A_MOMENT"),
        ("2026-01-05T10:00:00.1234567Z", "NOT_A_MOMENT"),
        ("1767607200", "NOT_A_MOMENT"),
        ("2026-12-31T23:59:60Z", "NO_SUCH_MOMENT"),
        ("2026-01-05T24:00:00Z", "NOT_A_MOMENT"),
        ("2026-01-05T10:00:00+24:00", "NO_SUCH_MOMENT"),
        ("2026-02-30T10:00:00Z", "NO_SUCH_DAY"),
        ("0001-01-01T00:00:00+14:00", "YEAR_OUT_OF_RANGE"),
        ("9999-12-31T23:59:59-14:00", "YEAR_OUT_OF_RANGE"),
    ],
)
def test_every_other_spelling_of_a_moment_is_refused_and_named(text, code):
    assert refusal(values.moment, text) == code


@given(st.datetimes(timezones=st.timezones() | st.just(UTC)))
def test_any_moment_in_the_range_of_years_is_read_and_no_other_raises_anything_else(moment):
    whole = moment.replace(microsecond=0)
    if (whole.utcoffset() or timedelta(0)).total_seconds() % 60:
        return  # RFC 3339 offsets are whole minutes; early local mean times are not
    try:
        read = values.moment(whole.isoformat(), field="occurred_at")
    except BadValue:
        assert not 1900 <= whole.year <= 2100
    else:
        # PEP 495: a folded local time never equals one of another zone, so both are compared in UTC.
        assert read == whole.astimezone(UTC)
