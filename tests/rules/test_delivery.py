"""A delivery is counted up from its first numbers: widths are kept, hands and sets go along, nothing is left over."""

import pytest

from gear.rules import ranges
from gear.rules.delivery import Delivery, rows_of
from gear.rules.values import MESSAGES, BadValue


@pytest.mark.parametrize(
    ("first", "count", "numbers"),
    [
        ("G-098", 3, ["G-098", "G-099", "G-100"]),
        ("99", 2, ["99", "100"]),
        ("A1-007", 1, ["A1-007"]),
    ],
)
def test_numbers_are_counted_up_with_their_width(first, count, numbers):
    assert ranges.count_up("first_no", first, count) == numbers


@pytest.mark.parametrize(
    ("first", "last", "numbers"),
    [
        ("A0099", "A0101", ["A0099", "A0100", "A0101"]),
        ("7", "7", ["7"]),
        ("98", "101", ["98", "99", "100", "101"]),
    ],
)
def test_a_range_holds_its_first_its_last_and_all_between(first, last, numbers):
    assert ranges.between("last_serial", first, last) == numbers


@pytest.mark.parametrize(
    ("first", "last", "code"),
    [
        ("A0101", "A0099", "BACKWARDS"),
        ("A0001", "B0009", "OTHER_HEAD"),
        ("A0001", "A009", "OTHER_WIDTH"),
        ("A001", "A0009", "OTHER_WIDTH"),
        ("ABC", "ABD", "NO_TAIL"),
        ("A0001", "", "NO_TAIL"),
        ("1", "501", "TOO_MANY"),
    ],
)
def test_what_is_no_range_is_refused_by_name(first, last, code):
    with pytest.raises(BadValue) as refused:
        ranges.between("last_serial", first, last)
    assert refused.value.code == code
    assert code in MESSAGES


def stated(**changes):
    usual = {"kind": "glove", "count": 2, "first_no": "G-009", "pieces": "pairs", "set_no": "P-09"}
    return Delivery(**{**usual, **changes})


def table(delivery):
    rows, problems = rows_of(delivery)
    assert problems == []
    names = ("item_no", "hand", "serial", "set_no")
    return [tuple(row.cells.get(name, "") for name in names) for row in rows]


def test_pairs_get_two_numbers_two_hands_and_one_set():
    assert table(stated()) == [
        ("G-009", "L", "", "P-09"),
        ("G-010", "R", "", "P-09"),
        ("G-011", "L", "", "P-10"),
        ("G-012", "R", "", "P-10"),
    ]


@pytest.mark.parametrize(
    ("serial_of", "serials"),
    [
        ("same", ["S8", "S8", "S9", "S9"]),
        ("hand", ["S8-L", "S8-R", "S9-L", "S9-R"]),
    ],
)
def test_a_pair_shares_its_serial_or_bears_it_with_the_hand(serial_of, serials):
    found = table(stated(serials="range", first_serial="S8", last_serial="S9", serial_of=serial_of))
    assert [serial for _no, _hand, serial, _set in found] == serials


def test_each_piece_may_have_a_serial_of_its_own_left_first():
    found = table(stated(serials="list", serial_list=("a", "b", "c", "d"), serial_of="each"))
    assert [(hand, serial) for _no, hand, serial, _set in found] == [
        ("L", "a"),
        ("R", "b"),
        ("L", "c"),
        ("R", "d"),
    ]


def test_one_number_for_a_pair_carries_the_hand():
    found = table(stated(numbering="hand"))
    assert [number for number, *_rest in found] == ["G-009-L", "G-009-R", "G-010-L", "G-010-R"]


def test_jumpers_form_sets_of_so_many():
    found = table(Delivery("grounding_jumper", 6, "J-1", per_set=3, set_no="S-1"))
    assert [set_no for *_rest, set_no in found] == ["S-1"] * 3 + ["S-2"] * 3


def test_a_kind_without_hands_or_sets_has_neither():
    assert table(Delivery("blanket", 2, "B-1")) == [("B-1", "", "", ""), ("B-2", "", "", "")]


@pytest.mark.parametrize(
    ("changes", "line", "code"),
    [
        ({"serials": "range", "first_serial": "S1", "last_serial": "S1"}, 3, "SERIAL_SHORT"),
        ({"serials": "range", "first_serial": "S1", "last_serial": "S3"}, 5, "SERIAL_LEFT"),
        ({"serials": "list", "serial_list": ("a",), "serial_of": "each"}, 2, "SERIAL_SHORT"),
        ({"serials": "range", "first_serial": "S1", "last_serial": "T1"}, 0, "OTHER_HEAD"),
        ({"first_no": "GLOVE"}, 0, "NO_TAIL"),
        ({"set_no": ""}, 0, "NO_TAIL"),
        ({"count": 251}, 0, "TOO_MANY"),
        ({"kind": "grounding_jumper", "pieces": "", "count": 5, "per_set": 3}, 0, "SETS_NOT_WHOLE"),
    ],
)
def test_what_does_not_add_up_names_its_line(changes, line, code):
    _rows, problems = rows_of(stated(**changes))
    assert [(one.line, one.code) for one in problems] == [(line, code)]
