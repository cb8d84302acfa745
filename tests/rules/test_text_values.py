"""Words, text and identifiers: one form, nothing hidden, nothing damaged by a spreadsheet."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gear.rules import messages, values
from gear.rules.values import BadValue
from tests.rules.test_values import refusal

# Words and text --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("text", "expected"), [("yes", True), ("no", False), (" yes ", True)])
def test_yes_and_no_are_words(text, expected):
    assert values.yes_no(text, field="breakdown") is expected


@pytest.mark.parametrize(
    "text", ["Yes", "y", "true", "TRUE", "on", "t", "1", "0", "1.0", "false", "none", 1, 0]
)
def test_nothing_else_counts_as_yes_or_no(text):
    assert refusal(values.yes_no, text) == "NOT_ONE_OF"


def test_a_word_outside_its_list_is_answered_with_the_list():
    with pytest.raises(BadValue, match="left is not one of L, R"):
        values.word("left", field="hand", allowed=("L", "R"))


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("  Tannery Road ", "Tannery Road"),
        ("\uff27-01234", "G-01234"),
        ("a\u00a0b", "a b"),
        ("e\u0301", "\u00e9"),
        ('36" x 36"', '36" x 36"'),
        (10, "10"),
    ],
)
def test_text_is_stripped_and_brought_to_one_form(typed, read):
    assert values.text(typed, field="model") == read


@pytest.mark.parametrize(
    "hidden",
    [
        "\x00",
        "\n",
        "\r",
        "\t",
        "\x1b",
        "\x7f",
        "\u00ad",
        "\u200b",
        "\u200d",
        "\u202e",
        "\u2028",
        "\ufeff",
        "\ue000",
    ],
)
def test_text_with_what_cannot_be_seen_is_refused(hidden):
    assert refusal(values.text, f"G-0{hidden}1234") == "HIDDEN_CHARACTER"


def test_text_that_is_only_invisible_is_not_taken_for_a_name():
    assert refusal(values.text, "\u200b\u200b") == "HIDDEN_CHARACTER"
    assert refusal(values.text, "\u3000") == "EMPTY"


@pytest.mark.parametrize(("length", "fits"), [(200, True), (201, False)])
def test_text_has_a_longest(length, fits):
    if fits:
        assert values.text("x" * length, field="model") == "x" * length
    else:
        assert refusal(values.text, "x" * length) == "TOO_LONG"


def test_text_that_grows_by_its_normal_form_is_measured_afterwards():
    assert refusal(values.text, "\ufdfa" * 20) == "TOO_LONG"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("1E+05", "SPREADSHEET_NUMBER"),
        ("1.23457E+11", "SPREADSHEET_NUMBER"),
        ("Jan-05", "SPREADSHEET_DATE"),
        ("11-Oct", "SPREADSHEET_DATE"),
        ("#VALUE!", "SPREADSHEET_ERROR"),
    ],
)
def test_an_identifier_that_a_spreadsheet_damaged_is_refused(text, code):
    assert refusal(values.identifier, text) == code


@pytest.mark.parametrize("text", ["00123", "46023", "E-05", "MAR-12", "JAN-05", "1E5", "#2"])
def test_an_identifier_that_only_resembles_damage_stays(text):
    assert values.identifier(text, field="serial") == text


@pytest.mark.parametrize("text", ["G-01234", "B 17", "7", "Ä-1", "P#3"])
def test_an_item_number_is_the_sites_own(text):
    assert values.item_no(text) == text


@pytest.mark.parametrize("text", ["G/1", "G\\1", ".", ".."])
def test_an_item_number_must_fit_into_an_address(text):
    with pytest.raises(BadValue, match="slashes"):
        values.item_no(text)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("G-O1234", "G-01234"),
        ("G-I234", "G-1234"),
        ("G-l234", "G-1234"),
        ("g-01234", "G-01234"),
        ("G 01234", "G-01234"),
        ("G_01234", "G-01234"),
        ("G\u201301234", "G-01234"),
        ("\uff27-01234", "G-01234"),
    ],
)
def test_look_alikes_share_a_skeleton(one, other):
    assert values.skeleton(one) == values.skeleton(other)


@pytest.mark.parametrize(
    ("one", "other"), [("G-1L", "G-11"), ("G-12-3", "G-1-23"), ("G-0123", "G-1023"), ("A-1", "B-1")]
)
def test_different_numbers_keep_different_skeletons(one, other):
    assert values.skeleton(one) != values.skeleton(other)


@given(st.text(max_size=230))
def test_no_text_makes_a_reader_raise_anything_but_bad_value(text):
    readers = (
        values.decimal,
        values.integer,
        values.day,
        values.moment,
        values.yes_no,
        values.text,
        values.item_no,
    )
    for reader in readers:
        with contextlib.suppress(BadValue):
            reader(text, field="leakage_ma")


@given(st.text(min_size=1, max_size=230))
def test_what_is_shown_of_a_wrong_value_is_short_and_on_one_line(text):
    shown = BadValue("NOT_A_NUMBER", "leakage_ma", text).shown
    assert 0 < len(shown) <= values.SHOWN + 1
    assert not set("\n\r\t\x00\u2028\u202e") & set(shown)


# Sentences -------------------------------------------------------------------------------------------------------


def test_a_refusal_names_the_field_and_the_value_and_becomes_a_problem_of_a_line():
    with pytest.raises(BadValue) as caught:
        values.day("05/01/2026", field="tested_on")
    assert str(caught.value).startswith("tested_on: 05/01/2026 can be read in two ways.")
    assert caught.value.at(7) == values.Problem(7, "tested_on", "DATE_ORDER_UNCLEAR", {"shown": "05/01/2026"})


def test_every_message_is_a_sentence_without_a_twin():
    assert all(text.rstrip(" {}shown")[-1] in ".?:" for text in messages.MESSAGES.values())
    parts = (messages.VALUES, messages.FILES, messages.ROWS, messages.GEAR_BOOK, messages.TEST_BOOK)
    assert sum(map(len, parts)) == len(messages.MESSAGES)
