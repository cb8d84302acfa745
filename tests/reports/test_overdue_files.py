"""CSV, workbook and JSON of the overdue report: the same lines, and no cell that a spreadsheet would calculate."""

import csv
import io
import json
from datetime import date

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gear.queries import question_in
from gear.spreadsheets import inert
from reports import queries
from reports.rules.overdue import Scope
from reports.spreadsheets import COLUMNS, csv_lines, write_workbook
from reports.wording import as_json
from tests import builders

# Source: OWASP, "CSV Injection": cells that begin with these are calculated by spreadsheet programs.
CALCULATED = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "\x00=1"]
# Wider and smaller forms of the same signs in Unicode, and signs hidden behind what is not seen (from memory).
DISGUISED = [
    "＝1",
    "＋1",
    "－1",
    "＠A",
    "﹦1",
    "﹢1",
    "﹣1",
    "﹫A",
    "−1",
    " =1",
    "\ufeff=1",
    "\u200b@A",
    "\u00a0+1",
]


def report():
    return queries.weekly(question_in(), scope=Scope()).report


def read_csv(told):
    return list(csv.DictReader(io.StringIO("".join(csv_lines(told)), newline="")))


def workbook(told):
    file = io.BytesIO()
    write_workbook(told, file)
    return openpyxl.load_workbook(io.BytesIO(file.getvalue()))


# Cells that would be calculated


@pytest.mark.parametrize("text", CALCULATED + DISGUISED)
def test_a_text_that_a_spreadsheet_would_calculate_begins_with_an_apostrophe(text):
    assert inert(text) == f"'{text}"


@pytest.mark.parametrize(
    "text", ["", "G-01234", "1/0", "Dev", "a=b", "2026-09-14", "555-0107", "#2", "'quoted"]
)
def test_any_other_text_stays_as_it_is(text):
    assert inert(text) == text


@given(st.text())
def test_no_text_at_all_reaches_a_cell_with_a_calculating_beginning(text):
    assert inert(text)[:1] not in {"=", "+", "-", "@", "\t", "\r", "\n", "\x00", "＝", "＋", "－", "＠"}


@pytest.fixture
def formulas(cast, monday):
    """Names and notes that somebody typed to be calculated elsewhere."""
    truck = builders.holder("truck", '=HYPERLINK("http://127.0.0.1/","T")')
    one = builders.blanket("=1+1", at=truck)
    builders.happened(one, "held", reason='@SUM(1), "quoted"\nand more', on=monday)
    return one


@pytest.mark.django_db
def test_formulas_typed_into_the_book_are_text_in_csv(formulas):
    (line,) = read_csv(report())
    assert line["item_no"] == "'=1+1"
    assert line["holder"] == '\'=HYPERLINK("http://127.0.0.1/","T")'
    assert '"quoted"\nand more' in line["reasons"]  # commas, quotes and line ends survive the way


@pytest.mark.django_db
def test_formulas_typed_into_the_book_are_text_in_the_workbook(formulas):
    sheet = workbook(report()).worksheets[0]
    cells = {name: sheet.cell(2, number) for number, name in enumerate(COLUMNS, start=1)}
    assert (cells["item_no"].value, cells["item_no"].data_type) == ("=1+1", "s")
    assert cells["holder"].data_type == "s"
    assert [cell.coordinate for row in sheet for cell in row if cell.data_type == "f"] == []


@pytest.mark.django_db
def test_signs_that_a_workbook_cannot_carry_are_replaced_and_spoil_nothing(cast, monday):
    one = builders.blanket("B-\x07\ufffe1", at=builders.holder("truck", "#REF!"))
    builders.happened(one, "held", reason="x" * 40_000, on=monday)
    sheet = workbook(report()).worksheets[0]
    assert (sheet["B2"].value, sheet["F2"].value, sheet["F2"].data_type) == ("B-\ufffd\ufffd1", "#REF!", "s")


# What the files hold


@pytest.mark.django_db
def test_csv_is_rfc_4180_in_plain_utf_8_with_every_line_of_the_report(fleet, client):
    client.force_login(fleet.cast.ines)
    response = client.get("/reports/overdue.csv")
    content = b"".join(response.streaming_content)
    assert response.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert response.headers["Content-Disposition"] == 'attachment; filename="overdue-2026-09-14.csv"'
    assert not content.startswith(b"\xef\xbb\xbf")
    assert content.count(b"\n") == content.count(b"\r\n") == 1 + 6 + 4 + 1
    told = report()
    lines = read_csv(told)
    assert "".join(csv_lines(told)).encode() == content
    for name in ("usable_now", "due_soon", "off_the_road"):
        listed = [line["item_no"] for line in lines if line["list"] == name]
        assert listed == [line.item_no for line in getattr(told, name)]


@pytest.mark.django_db
def test_a_csv_line_says_what_the_page_says(fleet):
    line = next(one for one in read_csv(report()) if one["item_no"] == fleet.left.item_no)
    assert line == {
        "list": "usable_now",
        "item_no": fleet.left.item_no,
        "kind": "glove",
        "class": "2",
        "verdict": "stop",
        "holder": "Dev",
        "holder_kind": "person",
        "crew": "Crew 7",
        "depot": "Harbour depot",
        "set_no": "P-0001",
        "condition": "ok",
        "good_through": "2026-07-31",
        "days_over": "45",
        "days_left": "",
        "winning_clock": "first_issue+6",
        "open_since": "2026-08-01",
        "still_open": "yes",
        "owner": "",
        "promised_on": "",
        "replacement": "",
        "reason_codes": "OUT_OF_DATE SET_NOT_COMPLETE",
        "reasons": line["reasons"],
        "sources": line["sources"],
        "as_of": "2026-09-14",
        "rule_pack": "us_federal 1",
    }
    assert line["reasons"].startswith("Out of date: good through 31 JUL 2026, 45 days over")
    assert "1910.137" in line["sources"]


@pytest.mark.django_db
def test_the_workbook_types_dates_and_figures_and_says_how_it_was_counted(fleet):
    book = workbook(report())
    lines, counted = book.worksheets
    rows = {
        row[1]: dict(zip(COLUMNS, row, strict=True)) for row in lines.iter_rows(min_row=2, values_only=True)
    }
    assert len(rows) == 11
    glove = rows[fleet.left.item_no]
    assert glove["good_through"].date() == date(2026, 7, 31)
    assert (glove["days_over"], glove["days_left"]) == (45, None)
    assert (rows["B-due_in_7"]["days_left"], rows["B-due_in_7"]["reasons"]) == (7, None)
    said = {row[0]: row[1] for row in counted.iter_rows(values_only=True)}
    assert (said["Items in the book"], said["Lost"], said["OK"]) == (13, 1, 10)
    assert said["As of"] == "14 SEP 2026, end of day"


@pytest.mark.django_db
def test_an_empty_report_is_a_file_with_its_header(cast, monday):
    assert "".join(csv_lines(report())) == ",".join(COLUMNS) + "\r\n"
    assert [cell.value for cell in workbook(report()).worksheets[0][1]] == list(COLUMNS)


# JSON


@pytest.mark.django_db
def test_json_has_exactly_the_keys_of_the_interface(fleet, client):
    client.force_login(fleet.cast.ines)
    told = client.get("/api/v1/reports/overdue/").json()
    line_keys = {
        "item_no", "kind", "class", "holder", "crew", "depot", "good_through", "days_over", "winning_clock", "reasons",
    }  # fmt: skip
    assert told.keys() == {"as_of", "rule_pack", "totals", "usable_now", "off_the_road", "due_soon"}
    assert (told["as_of"], told["rule_pack"]) == ("2026-09-14", "us_federal 1")
    assert all(line.keys() == line_keys for line in told["usable_now"] + told["off_the_road"])
    assert all(line.keys() == line_keys | {"days_left"} for line in told["due_soon"])
    assert all(
        reason.keys() == {"code", "sentence", "source"}
        for line in told["usable_now"]
        for reason in line["reasons"]
    )
    assert sum(told["totals"].values()) == 2 * told["totals"]["items_in_book"] == 26


@pytest.mark.django_db
def test_json_dates_are_iso_or_null_and_numbers_are_numbers(fleet):
    told = json.loads(json.dumps(as_json(report())))
    lines = {line["item_no"]: line for line in told["usable_now"] + told["due_soon"]}
    assert date.fromisoformat(lines[fleet.left.item_no]["good_through"]) == date(2026, 7, 31)
    assert lines[fleet.left.item_no]["days_over"] == 45
    assert lines["B-contracted"]["good_through"] is lines["B-contracted"]["winning_clock"] is None
    assert lines["B-contracted"]["days_over"] is lines["B-contracted"]["crew"] is None
    assert lines["B-due_in_0"]["days_left"] == 0
