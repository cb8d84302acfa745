"""What is pasted is read as it stands, and what holds for all rows never fills in a number, a reading or a look."""

import itertools

import pytest

from inspections.rules import visiting
from inspections.rules.visiting import counted_on, lacks, merged, next_number, pasted, pieces_of

ROW = {"person": "Ana", "kind": "glove", "number": "L1", "number_right": "R1", "leakage_ma": "9",
       "tested_on": "2026-09-14", "lab": "Lab", "report_no": "7", "lab_result": "accept"}  # fmt: skip


def pieces(*rows):
    return pieces_of(rows, owner="Harrow Bay", depot=None, received_on="2026-11-28",
                     items=counted_on("V-", ["V-00007"]), sets=counted_on("VP-", []))  # fmt: skip


@pytest.mark.parametrize("sign", ["\t", ";", ","])
def test_a_paste_is_read_with_and_without_its_header(sign):
    plain = sign.join(("Ana", "10", "L1", "R1", "9.1", "9.2"))
    headed = sign.join(("Number", "person", "lab")) + "\r\n" + sign.join(("L1", "Ana", ""))
    assert pasted(plain) == ([dict(zip(visiting.PLAIN, plain.split(sign), strict=True))], [])
    assert pasted(headed) == ([{"number": "L1", "person": "Ana"}], [])


@pytest.mark.parametrize(
    ("text", "code"),
    [("", "MISSING"), ("person\tshoe\nAna\t9", "NOT_A_COLUMN"), ("person\tperson\nAna\tBo", "COLUMN_TWICE"),
     ("a\tb\tc\td\te\tf\tg", "ROW_LENGTH"), ("x\n" * 501, "TOO_MANY")],
)  # fmt: skip
def test_a_paste_that_cannot_be_read_is_refused_as_a_whole(text, code):
    rows, problems = pasted(text)
    assert (rows, problems[0].code) == ([], code)


def test_a_pair_is_two_pieces_and_a_reading_stays_with_its_glove():
    left, right = pieces(ROW)
    assert [one.gear.cells["item_no"] for one in (left, right)] == ["V-00008", "V-00009"]
    assert [one.gear.cells["serial"] for one in (left, right)] == ["L1", "R1"]
    assert left.gear.cells["set_no"] == right.gear.cells["set_no"] == "VP-00001"
    assert (left.test.cells["leakage_ma"], "leakage_ma" in right.test.cells) == ("9", False)
    assert left.gear.cells["holder"] == "Ana (Harrow Bay)"
    (single,) = pieces({**ROW, "hand": "R"})
    assert "set_no" not in single.gear.cells
    (cover,) = pieces({"kind": "blanket", "class": "2", "number": "B1"})
    assert cover.gear.cells["holder"] == "Harrow Bay"


def test_only_what_may_be_said_of_all_is_filled_in():
    said = merged(
        {"person": "Ana", "lab": "Own"}, {"lab": "Lab", "class": "2", "number": "7", "leakage_ma": "9"}
    )
    assert said == {"person": "Ana", "lab": "Own", "class": "2"}


@pytest.mark.parametrize(
    ("without", "code"),
    [("tested_on", "NO_DATE"), ("lab", "NO_LAB"), ("report_no", "NO_REPORT"), ("number", "NO_NUMBER"),
     ("lab_result", "NO_RESULT")],
)  # fmt: skip
def test_what_a_statement_lacks_is_named(without, code):
    (piece,) = pieces({**ROW, "hand": "L", without: ""})
    assert lacks(piece, papers=["7"], look="accept") == code


def test_a_report_must_be_seen_and_the_piece_looked_at():
    (piece,) = pieces({**ROW, "hand": "L"})
    assert lacks(piece, papers=["8"], look="accept") == "NOT_SEEN"
    assert [lacks(piece, papers=["7"], look=look) for look in ("", "clean", "test", "reject")] == [
        "NOT_LOOKED_AT"
    ] * 4
    assert lacks(piece, papers=["7"], look="accept") == ""
    (rejected,) = pieces({**ROW, "hand": "L", "lab_result": "reject"})
    assert lacks(rejected, papers=["7"], look="accept") == "PAPER_REJECTS"


def test_the_series_go_on_after_the_highest():
    assert next_number([]) == "M-0001"
    assert next_number(["M-0009", "M-0012", "other"]) == "M-0013"
    assert list(itertools.islice(counted_on("V-", ["V-00002", "V-x", "G-9"]), 2)) == ["V-00003", "V-00004"]
