"""A lab's file through its mapping: what is unclear refuses its line, and no figure is guessed."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from gear.rules.tables import Problem, Row, Table
from inspections.rules import labfile
from inspections.rules.labfile import BadCell, Column, LabColumns

MAPPING = LabColumns(
    {
        "Glove": Column("item_no"),
        "Date": Column("tested_on"),
        "Leak": Column("leakage_ma", "uA"),
        "kV": Column("applied_v", "kV"),
        "Result": Column("lab_result", words={"PASS": "accept", "FAIL": "reject"}),
        "Look": Column("visual", words={"OK": "accept"}),
        "CL": Column("class", words={"II": "2"}),
        "Initials": Column(""),
    },
    "MM/DD/YYYY",
    constants={"purpose": "in_service", "supply": "ac"},
)
LINE = {
    "Glove": "G-1", "Date": "3/2/2026", "Leak": "12500", "kV": "20", "Result": "pass", "Look": "OK", "CL": "II",
    "Initials": "RQ",
}  # fmt: skip


def translated(cells, mapping=MAPPING, *, workbook=False):
    return labfile.translate(Table((Row(2, cells),)), mapping, workbook=workbook)


def test_a_line_comes_out_in_the_words_and_units_of_the_test_book():
    found = translated(LINE)
    assert found.table.rows[0].cells == {
        "item_no": "G-1", "tested_on": "2026-03-02", "leakage_ma": "12.500", "applied_v": "20000",
        "lab_result": "accept", "visual": "accept", "purpose": "in_service", "supply": "ac",
    }  # fmt: skip
    assert found.compared == {2: {"class": "2"}}
    assert found.table.problems == ()


def test_a_mapping_is_the_same_after_it_was_kept():
    assert labfile.from_json(labfile.to_json(MAPPING)) == MAPPING


# FAULTS: decimal comma, thousands, signs and exponents, in both ways of writing
NUMBERS = [
    # given, with a point, with a comma
    ("12.5", "12.5", None),
    ("12,5", None, "12.5"),
    ("1.500", "1.500", None),
    ("1,500", None, "1.500"),
    ("1.500,5", None, None),
    ("1,500.5", None, None),
    ("1 500", None, None),
    ("1'500", None, None),
    ("12500", "12500", "12500"),
    ("-4", "-4", "-4"),
    ("+5", None, None),
    ("1e3", None, None),
    ("0x10", None, None),
    ("\u0661\u0662", None, None),
    ("\uff11\uff12", None, None),
    ("12.", None, None),
    (".5", None, None),
    ("NaN", None, None),
    ("<0.1", None, None),
    ("12.5 mA", None, None),
    ("", None, None),
    (" 5 ", "5", "5"),
]


@pytest.mark.parametrize(("given", "point", "comma"), NUMBERS)
@pytest.mark.parametrize("decimal", labfile.DECIMALS)
def test_a_number_is_what_the_mapping_says_or_it_is_refused(given, point, comma, decimal):
    wanted = point if decimal == "point" else comma
    if wanted is None:
        with pytest.raises(BadCell):
            labfile.number(given, decimal, workbook=False)
    else:
        assert labfile.number(given, decimal, workbook=False) == Decimal(wanted)


@pytest.mark.parametrize(
    ("given", "wanted"),
    [("12.5", "12.5"), ("12.25", "12.25"), ("1.500", None), ("1.234", None), ("12,5", "12.5")],
)
def test_a_true_number_of_a_workbook_is_read_under_a_decimal_comma_unless_it_may_be_thousands(given, wanted):
    if wanted is None:
        with pytest.raises(BadCell):
            labfile.number(given, "comma", workbook=True)
    else:
        assert labfile.number(given, "comma", workbook=True) == Decimal(wanted)


DATES = [
    ("YYYY-MM-DD", "2026-03-02", date(2026, 3, 2)),
    ("YYYY-MM-DD", "2026-3-2", None),
    ("MM/DD/YYYY", "3/2/2026", date(2026, 3, 2)),
    ("MM/DD/YYYY", "13/2/2026", None),
    ("DD/MM/YYYY", "3/2/2026", date(2026, 2, 3)),
    ("DD.MM.YYYY", "03.02.2026", date(2026, 2, 3)),
    ("DD.MM.YYYY", "03.02.26", None),
    ("DD-MMM-YYYY", "02-Mar-2026", date(2026, 3, 2)),
    ("DD-MMM-YYYY", "2 MAR 2026", date(2026, 3, 2)),
    ("DD-MMM-YYYY", "2-M\u00e4r-2026", None),
    ("MM/DD/YYYY", "2/30/2026", None),
    ("MM/DD/YYYY", "2026-03-02", None),
    ("MM/DD/YYYY", "46083", None),
]


@pytest.mark.parametrize(("date_format", "given", "wanted"), DATES)
def test_a_date_is_read_as_the_mapping_says(date_format, given, wanted):
    if wanted is None:
        with pytest.raises(BadCell):
            labfile.day(given, date_format, workbook=False)
    else:
        assert labfile.day(given, date_format, workbook=False) == wanted


def test_a_true_date_of_a_workbook_is_what_it_is():
    assert labfile.day("2026-03-02", "MM/DD/YYYY", workbook=True) == date(2026, 3, 2)


@pytest.mark.parametrize(
    ("cell", "given", "code"),
    [
        ("Leak", "12,5", "NOT_THIS_NUMBER"),
        ("kV", "20 kV", "NOT_THIS_NUMBER"),
        ("Date", "2026-03-02", "NOT_THIS_DATE"),
        ("Result", "passed", "NO_WORD"),
        ("Look", "fine", "NO_WORD"),
        ("CL", "III", "NO_WORD"),
    ],
)
def test_a_cell_that_is_unclear_refuses_its_line_and_names_the_labs_column(cell, given, code):
    found = translated({**LINE, cell: given})
    (problem,) = found.table.problems
    assert found.table.rows == ()
    assert (problem.line, problem.code, problem.values["field"], problem.values["shown"]) == (
        2,
        code,
        cell,
        given,
    )


def test_our_own_words_need_no_mapping_and_blank_cells_are_not_stated():
    found = translated({**LINE, "Result": "reject", "CL": "3"})
    assert found.table.rows[0].cells["lab_result"] == "reject"
    assert "breakdown" not in found.table.rows[0].cells


def without(*names):
    return replace(MAPPING, columns={name: one for name, one in MAPPING.columns.items() if name not in names})


def with_column(name, column):
    return replace(MAPPING, columns={**MAPPING.columns, name: column})


FAULTY = [
    (MAPPING, []),
    (without("Glove"), [("NOT_MAPPED", "item_no")]),
    (without("Date"), [("NOT_MAPPED", "tested_on")]),
    (without("Look"), [("NOT_MAPPED", "visual")]),
    (replace(MAPPING, constants={}), [("NOT_MAPPED", "purpose")]),
    (with_column("Leak 2", Column("leakage_ma", "mA")), [("MAPPED_TWICE", "leakage_ma")]),
    (with_column("Why", Column("purpose")), [("MAPPED_TWICE", "purpose")]),
    (with_column("Leak", Column("leakage_ma", "")), [("NO_UNIT", "Leak")]),
    (with_column("Leak", Column("leakage_ma", "kV")), [("NO_UNIT", "Leak")]),
    (with_column("Result", Column("lab_result", words={"PASS": "good"})), [("NO_SUCH_WORD", "Result")]),
    (with_column("X", Column("money")), [("NO_SUCH_TARGET", "X")]),
    # nobody's look is stated for a whole file, and no reading either
    (
        replace(without("Look"), constants={**MAPPING.constants, "visual": "accept"}),
        [("NO_CONSTANT", "visual")],
    ),
    (replace(MAPPING, constants={**MAPPING.constants, "seconds": "60"}), [("NO_CONSTANT", "seconds")]),
    (replace(MAPPING, constants={**MAPPING.constants, "purpose": "yearly"}), [("NO_CONSTANT", "purpose")]),
    (replace(MAPPING, date_format="guess"), [("NO_DATE_FORMAT", "tested_on")]),
]


@pytest.mark.parametrize(("mapping", "wanted"), FAULTY)
def test_a_mapping_that_leaves_something_open_is_not_kept(mapping, wanted):
    found = [(one.code, one.values["field"]) for one in labfile.faults(mapping)]
    assert found == wanted
    assert all(isinstance(one, Problem) for one in labfile.faults(mapping))
