"""What a gear book may say of a piece, row by row and between rows; no database."""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gear.rules import gearbook, tables, values
from gear.rules.entries import CONDITIONS, HOLDER_KINDS, IDENTITY
from gear.rules.readiness import KINDS

TODAY = date(2026, 9, 14)
GLOVE = {
    "item_no": "G-01001", "kind": "glove", "class": "2", "hand": "L", "size": "10", "length_mm": "360", "type": "II",
    "maker": "Amber & Co", "serial": "D-4417", "made_on": "2026-01-05", "received_on": "2026-02-01",
    "first_issued_on": "2026-03-01", "marked_expiry_on": "2029-01-05", "set_no": "P-0001",
    "holder": "Dev", "holder_kind": "person", "crew": "Crew 7", "depot": "Tannery Road",
}  # fmt: skip
JUMPER = {
    "item_no": "J-00031", "kind": "grounding_jumper", "cable_size": "2/0", "cable_length_m": "3.048",
    "clamp_grade": "5", "ferrule_grade": "5", "set_no": "G-022", "holder": "T-12", "holder_kind": "truck",
}  # fmt: skip
BLANKET = {"item_no": "B-00417", "kind": "blanket", "class": "2", "holder": "Shelf 3", "holder_kind": "shelf"}
COVER = {**BLANKET, "item_no": "C-00001", "kind": "rigid_cover"}


def parse(*rows):
    """The rows as lines 2, 3 ... of a file."""
    read = tuple(
        tables.Row(line, {name: cell for name, cell in row.items() if cell})
        for line, row in enumerate(rows, start=2)
    )
    return gearbook.parse(tables.Table(read), today=TODAY)


def problems(*rows):
    found = parse(*rows).problems
    for one in found:
        # Every problem has a sentence that its values fill.
        assert values.MESSAGES[one.code].format(**one.values)
    return [(one.line, one.code, one.values.get("field")) for one in found]


def notes(*rows):
    found = parse(*rows).notes
    for one in found:
        assert values.MESSAGES[one.code].format(**one.values)
    return [(one.line, one.code) for one in found]


def test_a_full_row_becomes_what_it_says():
    book = parse(GLOVE, JUMPER)
    assert (book.problems, book.notes, book.repeats) == ((), (), ())
    glove, jumper = book.rows
    assert (glove.cls, glove.length_mm, glove.made_on) == ("2", 360, date(2026, 1, 5))
    assert (glove.condition, glove.rated_kv, glove.holder) == ("ok", None, "Dev")
    assert (jumper.cable_length_m, jumper.clamp_grade, jumper.cls) == (Decimal("3.048"), "5", None)


def test_the_identity_of_a_row_has_every_name_of_an_entry_and_no_binary_fraction():
    glove, jumper = parse(GLOVE, JUMPER).rows
    assert set(glove.identity) == set(jumper.identity) == set(IDENTITY)
    assert (jumper.identity["cable_length_m"], glove.identity["made_on"]) == ("3.048", "2026-01-05")


# One row ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["item_no", "kind", "holder", "holder_kind"])
def test_four_cells_are_required(name):
    assert problems({**BLANKET, name: ""}) == [(2, "MISSING", name)]


@pytest.mark.parametrize("name", sorted(set(GLOVE) - {"item_no", "kind", "holder", "holder_kind"}))
def test_any_other_cell_may_be_left_empty(name):
    assert problems({**GLOVE, name: ""}) == []


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("kind", KINDS),
        ("holder_kind", HOLDER_KINDS),
        ("condition", CONDITIONS),
    ],
)
def test_words_come_from_their_lists(name, words):
    for word in words:
        row = {"item_no": "X-1", "kind": "blanket", "holder": "Shelf 3", "holder_kind": "shelf", name: word}
        assert problems(row) == []
    assert problems({**BLANKET, name: "other"}) == [(2, "NOT_ONE_OF", name)]


RUBBER = ("00", "0", "1", "2", "3", "4")
CLASSES = {
    **dict.fromkeys(("glove", "sleeve", "blanket", "line_hose", "hood"), RUBBER),
    "rigid_cover": ("2", "3", "4", "5", "6"),
}


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "protector"])
@pytest.mark.parametrize("cls", ["00", "0", "1", "2", "3", "4", "5", "6", "7", "000", "II"])
def test_every_kind_has_its_own_classes(kind, cls):
    row = {"item_no": "X-1", "kind": kind, "class": cls, "holder": "Shelf 3", "holder_kind": "shelf"}
    found = problems(row)
    if cls in CLASSES.get(kind, ()):
        assert found == []
    else:
        assert found == [(2, "NOT_ONE_OF" if kind in CLASSES else "WRONG_KIND", "class")]


@pytest.mark.parametrize(
    ("row", "name", "cell"),
    [
        (GLOVE, "cable_size", "2/0"),
        (GLOVE, "cable_length_m", "3"),
        (GLOVE, "clamp_grade", "5"),
        (GLOVE, "ferrule_grade", "5"),
        (BLANKET, "hand", "L"),
        (COVER, "hand", "R"),
        (COVER, "type", "II"),
        (JUMPER, "hand", "L"),
        (JUMPER, "type", "I"),
        (JUMPER, "size", "10"),
        (JUMPER, "length_mm", "3048"),
    ],
)
def test_a_cell_of_another_kind_is_refused(row, name, cell):
    assert problems({**row, name: cell}) == [(2, "WRONG_KIND", name)]


@pytest.mark.parametrize(
    ("row", "length", "code"),
    [
        # inches and centimetres: 14 in and 36 cm are the same glove
        (GLOVE, "14", "UNIT"),
        (GLOVE, "16", "UNIT"),
        (GLOVE, "36", "UNIT"),
        (GLOVE, "41", "UNIT"),
        (BLANKET, "36", "UNIT"),
        (BLANKET, "91", "UNIT"),
        (GLOVE, "0", "UNIT"),
        (GLOVE, "199", "UNIT"),
        (GLOVE, "601", "OUT_OF_RANGE"),
        (GLOVE, "3600", "OUT_OF_RANGE"),
        (GLOVE, "360.5", "NOT_WHOLE"),
        (GLOVE, "-360", "NEGATIVE"),
        (GLOVE, "267", None),
        (GLOVE, "280", None),
        (GLOVE, "360.0", None),
        (GLOVE, "460", None),
        (BLANKET, "914", None),
    ],
)
def test_a_length_in_another_unit_is_refused_because_it_would_flip_a_verdict(row, length, code):
    assert problems({**row, "length_mm": length}) == ([(2, code, "length_mm")] if code else [])


@pytest.mark.parametrize(
    ("length", "code"),
    [("0", "OUT_OF_RANGE"), ("0.001", None), ("60", None), ("60.001", "OUT_OF_RANGE"), ("3048", "OUT_OF_RANGE"),
     ("-3", "NEGATIVE"), ("3,048", "NOT_A_NUMBER"), ("10 ft", "NOT_A_NUMBER"), ("3.0481", "NOT_A_NUMBER")],
)  # fmt: skip
def test_the_length_of_a_jumper_is_in_metres(length, code):
    assert problems({**JUMPER, "cable_length_m": length}) == ([(2, code, "cable_length_m")] if code else [])


@pytest.mark.parametrize("size", ["#2", "1/0", "2/0", "3/0", "4/0", "250 kcmil", "350 kcmil"])
def test_cable_sizes_are_those_of_the_grades(size):
    assert problems({**JUMPER, "cable_size": size}) == []


@pytest.mark.parametrize("size", ["2", "#4", "1/O", "250", "250 MCM", "2 x 2/0"])
def test_another_spelling_of_a_cable_size_is_refused(size):
    assert problems({**JUMPER, "cable_size": size}) == [(2, "NOT_ONE_OF", "cable_size")]


@pytest.mark.parametrize("name", ["clamp_grade", "ferrule_grade"])
@pytest.mark.parametrize(
    ("grade", "known"), [("1", True), ("7", True), ("7H", True), ("0", False), ("8", False), ("5h", False)]
)
def test_grades_run_from_one_to_seven(name, grade, known):
    assert problems({**JUMPER, name: grade}) == ([] if known else [(2, "NOT_ONE_OF", name)])


@pytest.mark.parametrize(
    ("dates", "expected"),
    [
        ({}, []),
        # one day for all of it is allowed, and so is leaving out what stands between
        ({"made_on": "2026-03-01", "received_on": "2026-03-01"}, []),
        ({"made_on": "2026-02-02"}, [(2, "ORDER", "received_on")]),
        ({"received_on": "2026-03-02"}, [(2, "ORDER", "first_issued_on")]),
        ({"made_on": "2026-03-02", "received_on": ""}, [(2, "ORDER", "first_issued_on")]),
        ({"marked_expiry_on": "2026-01-05"}, [(2, "ORDER", "marked_expiry_on")]),
        ({"marked_expiry_on": "2026-01-06"}, []),
        ({"first_issued_on": "2026-09-14"}, []),
        ({"first_issued_on": "2026-09-15"}, [(2, "FUTURE", "first_issued_on")]),
        ({"made_on": "2027-01-01"}, [(2, "FUTURE", "made_on")]),
        ({"received_on": "46054"}, [(2, "SPREADSHEET_DATE", "received_on")]),
        ({"marked_expiry_on": "01/02/2029"}, [(2, "NOT_A_DATE", "marked_expiry_on")]),
    ],
)  # fmt: skip
def test_dates_follow_one_another_and_none_is_to_come_but_the_expiry(dates, expected):
    assert problems({**GLOVE, **dates}) == expected


@pytest.mark.parametrize("name", ["serial", "lot", "size", "model", "item_no"])
def test_a_name_that_a_spreadsheet_damaged_is_refused(name):
    assert problems({**GLOVE, name: "1E+05"}) == [(2, "SCIENTIFIC", name)]
    assert problems({**GLOVE, name: "Oct-11"}) == [(2, "SCIENTIFIC", name)]


def test_every_problem_of_a_row_is_told():
    row = {**GLOVE, "class": "7", "hand": "X", "length_mm": "14", "made_on": "yesterday"}
    assert {field for _line, _code, field in problems(row)} == {"class", "hand", "length_mm", "made_on"}


# What is not stated is allowed, and remarked ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ({**GLOVE, "hand": ""}, ["HAND_NOT_STATED"]),
        ({**GLOVE, "class": ""}, ["CLASS_NOT_STATED"]),
        ({**GLOVE, "length_mm": ""}, ["LENGTH_NOT_STATED"]),
        ({**BLANKET, "class": ""}, ["CLASS_NOT_STATED"]),
        ({**JUMPER, "cable_size": ""}, ["CABLE_NOT_STATED"]),
        ({**JUMPER, "cable_length_m": ""}, ["CABLE_NOT_STATED"]),
        ({**JUMPER, "cable_length_m": "12.2"}, []),
        ({**JUMPER, "cable_length_m": "15"}, ["IN_FEET"]),
    ],
)
def test_what_makes_an_item_unanswerable_is_remarked_and_kept(row, expected):
    assert [code for _line, code in notes(row)] == expected
    assert len(parse(row).rows) == 1


# Between rows ----------------------------------------------------------------------------------------------------


def test_the_same_row_again_is_a_repeat_and_adds_nothing():
    book = parse(GLOVE, {**GLOVE, "length_mm": "360.0", "condition": "ok"})
    assert ([row.line for row in book.rows], [row.line for row in book.repeats]) == ([2], [3])
    assert book.problems == ()


@pytest.mark.parametrize("name", sorted(set(GLOVE) - {"item_no", "kind", "holder_kind"}))
def test_the_same_number_with_any_other_content_is_refused(name):
    assert problems(GLOVE, {**GLOVE, name: ""} if name != "holder" else {**GLOVE, name: "Marisol"}) == [
        (3, "REPEATED", "item_no")
    ]


@pytest.mark.parametrize("number", ["G-O1001", "G-0I001", "g-01001", "G_01001"])
def test_two_numbers_that_look_alike_are_refused(number):
    other = {**GLOVE, "item_no": number, "hand": "R"}
    assert problems(GLOVE, other) == [(3, "LOOKS_LIKE", "item_no")]


@pytest.mark.parametrize("number", ["G-01010", "G-0100L", "G-1001", "S-01001"])
def test_two_numbers_that_differ_plainly_are_not(number):
    assert problems(GLOVE, {**GLOVE, "item_no": number, "hand": "R"}) == []


@pytest.mark.parametrize(
    ("change", "taken"),
    [
        ({}, True),
        ({"hand": "R"}, False),
        ({"maker": "Other"}, False),
        ({"serial": "D-4418"}, False),
        ({"serial": ""}, False),
    ],
)
def test_a_serial_is_one_piece_of_one_maker_and_hand(change, taken):
    other = {**GLOVE, "item_no": "G-01002", **change}
    assert problems(GLOVE, other) == ([(3, "SAME_SERIAL", "serial")] if taken else [])


def test_a_set_is_of_one_kind():
    assert problems(GLOVE, {**JUMPER, "set_no": "P-0001"}) == [(3, "MIXED_SET", "set_no")]


@given(st.permutations([GLOVE, {**GLOVE, "item_no": "G-01002", "hand": "R"}, JUMPER, BLANKET, COVER]))
def test_the_order_of_rows_does_not_matter(rows):
    book = parse(*rows)
    assert book.problems == ()
    assert {row.item_no for row in book.rows} == {row["item_no"] for row in rows}


CELLS = st.sampled_from(
    [
        "",
        "0",
        "2",
        "14",
        "360",
        "-1",
        "1e3",
        "NaN",
        "L",
        "glove",
        "grounding_jumper",
        "2/0",
        "2026-01-05",
        "9999-12-31",
    ]
) | st.text(max_size=12)


@given(st.lists(st.dictionaries(st.sampled_from(gearbook.COLUMNS), CELLS, max_size=10), max_size=5))
def test_any_cells_give_rows_repeats_or_problems(rows):
    cells = [{name: cell for name, cell in row.items() if cell.strip()} for row in rows]
    book = parse(*cells)
    told = {one.line for one in (*book.rows, *book.repeats, *book.problems)}
    assert told == set(range(2, len(rows) + 2))
