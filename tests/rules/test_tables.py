"""Files as rows: every row read or named by its line, or the whole file refused with what to do."""

import io
import zipfile
from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from gear.rules import gearbook, tables
from gear.rules.tables import FileRefused
from inspections.rules import testbook
from tests.rules import workbooks
from tests.rules.workbooks import FILES

TODAY = date(2026, 9, 14)
HEADER = "item_no,kind,holder,holder_kind\n"
ROW = "G-1,glove,Dev,person\n"


def read(content, *, name="book.csv", **limits):
    data = content.encode() if isinstance(content, str) else content
    return tables.read(name, data, columns=gearbook.COLUMNS, required=gearbook.REQUIRED, **limits)


def refusal(content, **options):
    with pytest.raises(FileRefused) as caught:
        read(content, **options)
    assert str(caught.value).endswith(".")
    return caught.value.code, caught.value.values


def lines(table):
    return [row.line for row in table.rows]


# The sample files ------------------------------------------------------------------------------------------------


def book_of(path):
    book = testbook if b"tested_on" in path.read_bytes()[:60] else gearbook
    table = tables.read(path.name, path.read_bytes(), columns=book.COLUMNS, required=book.REQUIRED)
    return book.parse(table, today=TODAY)


@pytest.mark.parametrize(
    ("name", "rows"),
    [
        ("gear_book.csv", 3),
        ("gear_book.xlsx", 3),
        ("gear_book_blank_lines.csv", 2),
        ("gear_book_dos_lines.csv", 2),
        ("gear_book_other_order.csv", 1),
        ("gear_book_quoted.csv", 1),
        ("gear_book_with_mark.csv", 1),
        ("test_book.csv", 2),
        ("test_book_jumper.csv", 1),
    ],
)
def test_a_good_file_is_read_to_its_last_row(name, rows):
    book = book_of(FILES / "good" / name)
    assert (len(book.rows), book.problems) == (rows, ())


# file: code of the refusal, and the values that say where
REFUSED = {
    "semicolons.csv": ("DELIMITER", {"found": "semicolons"}),
    "tabs.csv": ("DELIMITER", {"found": "tabs"}),
    "utf_16.csv": ("NOT_UTF8", {"offset": 0}),
    "utf_16_without_mark.csv": ("NUL", {"offset": 1}),
    "cp1252.csv": ("NOT_UTF8", {"offset": 86}),
    "nul.csv": ("NUL", {"offset": 103}),
    "unclosed_quote.csv": ("NEWLINE_IN_FIELD", {"line": 2}),
    "quote_closed_later.csv": ("NEWLINE_IN_FIELD", {"line": 2}),
    "newline_in_field.csv": ("NEWLINE_IN_FIELD", {"line": 2}),
    "text_after_quote.csv": ("BAD_QUOTE", {"line": 2}),
    "column_twice.csv": ("REPEATED_COLUMNS", {"names": "kind"}),
    "unknown_column.csv": ("UNKNOWN_COLUMNS", {"names": "leak_uA"}),
    "column_missing.csv": ("MISSING_COLUMNS", {"names": "holder_kind"}),
    "header_renamed.csv": ("UNKNOWN_COLUMNS", {"names": "Item No"}),
    "empty.csv": ("EMPTY", {}),
    "only_blank_lines.csv": ("EMPTY", {}),
    "macros.xlsx": ("MACROS", {}),
    "links.xlsx": ("LINKED", {}),
    "zip_bomb.xlsx": ("SWOLLEN", {}),
    "entity_bomb.xlsx": ("NOT_A_WORKBOOK", {}),
    "far_down.xlsx": ("TOO_MANY_ROWS", {"most": tables.COMMAND_ROWS}),
    "too_wide.xlsx": ("TOO_WIDE", {"line": 2}),
}
# file: (line, code, field) of every problem
NAMED = {
    "short_row.csv": [(2, "ROW_LENGTH", None)],
    "long_row.csv": [(2, "ROW_LENGTH", None)],
    "decimal_comma.csv": [(2, "NOT_A_NUMBER", "leakage_ma")],
    "spreadsheet_dates.csv": [
        (2, "SPREADSHEET_DATE", "made_on"),
        (3, "NOT_A_DATE", "made_on"),
        (4, "NOT_A_DATE", "made_on"),
    ],
    "spreadsheet_serial.csv": [(2, "SCIENTIFIC", "serial")],
    "inches_and_centimetres.csv": [(2, "UNIT", "length_mm"), (3, "UNIT", "length_mm")],
    "same_number_twice.csv": [(3, "REPEATED", "item_no")],
    "number_looks_alike.csv": [(3, "LOOKS_LIKE", "item_no")],
    "future_test.csv": [(2, "FUTURE", "tested_on")],
    "not_numbers.csv": [
        (line, "NEGATIVE" if line == 5 else "NOT_A_NUMBER", "leakage_ma") for line in range(2, 8)
    ],
    "same_test_other_reading.csv": [(3, "REPEATED", "report_no")],
    "formula.xlsx": [(2, "FORMULA", "length_mm")],
    "true_or_false.xlsx": [(2, "BAD_CELL", "serial")],
    "error_cell.xlsx": [(2, "BAD_CELL", "serial")],
    "date_with_time.xlsx": [(2, "BAD_CELL", "made_on")],
    "long_number.xlsx": [(2, "NUMBER_ROUNDED", "serial")],
}
KEPT_WITH_A_NOTE = {"kilovolts.csv": [(2, "UNIT", "applied_v")]}


@pytest.mark.parametrize("name", REFUSED)
def test_a_broken_file_is_refused_and_says_where(name):
    code, values = REFUSED[name]
    with pytest.raises(FileRefused) as caught:
        book_of(FILES / "broken" / name)
    assert caught.value.code == code
    assert values.items() <= caught.value.values.items()


@pytest.mark.parametrize("name", NAMED)
def test_a_bad_row_is_named_by_line_and_field(name):
    book = book_of(FILES / "broken" / name)
    assert [(one.line, one.code, one.values.get("field")) for one in book.problems] == NAMED[name]


def test_a_kilovolt_slip_is_kept_because_it_proves_nothing_and_is_remarked():
    book = book_of(FILES / "broken" / "kilovolts.csv")
    assert [(one.line, one.code, one.values["field"]) for one in book.notes] == KEPT_WITH_A_NOTE[
        "kilovolts.csv"
    ]
    assert [row.applied_v for row in book.rows] == [20]


def test_every_broken_file_has_an_expectation():
    assert {path.name for path in (FILES / "broken").iterdir()} == {*REFUSED, *NAMED, *KEPT_WITH_A_NOTE}


# Text ------------------------------------------------------------------------------------------------------------


def test_lines_are_physical_lines_and_blank_ones_are_skipped():
    table = read(f"\r\n{HEADER}\n   \n,,,\n{ROW}\n{ROW.replace('1', '2')}\n")
    assert lines(table) == [6, 8]
    assert table.problems == ()


def test_cells_are_stripped_and_empty_ones_are_not_stated():
    table = read("item_no,kind,holder,holder_kind,serial\n G-1 ,glove, Dev,person,  \n")
    assert table.rows[0].cells == {
        "item_no": "G-1",
        "kind": "glove",
        "holder": "Dev",
        "holder_kind": "person",
    }


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_lines_may_end_in_any_of_the_three_ways(ending):
    assert lines(read((HEADER + ROW + ROW).replace("\n", ending))) == [2, 3]


def test_a_mark_at_the_start_is_taken_and_bad_bytes_are_counted_from_the_start():
    data = b"\xef\xbb\xbf" + HEADER.encode() + b"G-1,glove,\xff,person\n"
    assert refusal(data) == ("NOT_UTF8", {"offset": 3 + len(HEADER) + 10})


@pytest.mark.parametrize("separator", [";", "\t", "|"])
@pytest.mark.parametrize("before", ["", "\n", "\ufeff"])
def test_another_delimiter_is_named_wherever_the_header_stands(separator, before):
    code, values = refusal(before + (HEADER + ROW).replace(",", separator))
    assert code == "DELIMITER"
    assert values["found"] in ("semicolons", "tabs", "bars")


def test_a_semicolon_inside_a_field_is_not_a_delimiter():
    assert read(f"{HEADER}G-1,glove,a;b;c,person\n").rows[0].cells["holder"] == "a;b;c"


def test_no_row_after_an_open_quote_vanishes():
    """FAULTS G04: the failing rows behind the quote must not disappear into one field."""
    content = (
        HEADER + ROW + 'G-2,"glove,Dev,person\n' + "".join(f"G-{n},glove,Dev,person\n" for n in range(3, 60))
    )
    assert refusal(content) == ("NEWLINE_IN_FIELD", {"line": 3})


def test_a_field_has_a_longest():
    assert len(read(f"{HEADER}G-1,glove,{'x' * 1000},person\n").rows) == 1
    assert refusal(f"{HEADER}G-1,glove,{'x' * 1001},person\n")[0] == "FIELD_TOO_LONG"
    assert refusal(f"{HEADER}G-1,glove,{'x' * 400_000},person\n")[0] in ("FIELD_TOO_LONG", "BAD_QUOTE")


@pytest.mark.parametrize(("rows", "taken"), [(3, True), (4, False)])
def test_there_is_a_most_of_rows(rows, taken):
    content = HEADER + "".join(f"G-{number},glove,Dev,person\n" for number in range(rows))
    if taken:
        assert len(read(content, most_rows=3).rows) == 3
    else:
        assert refusal(content, most_rows=3) == ("TOO_MANY_ROWS", {"most": 3})


def test_a_row_that_is_refused_counts_too():
    assert refusal(HEADER + "x\n" * 4, most_rows=3)[0] == "TOO_MANY_ROWS"


def test_bytes_are_counted_before_anything_is_read():
    size = len(HEADER + ROW)
    assert len(read(HEADER + ROW, most_bytes=size).rows) == 1
    assert refusal(HEADER + ROW, most_bytes=size - 1) == ("TOO_LARGE", {"most": size - 1})


@given(
    st.lists(
        st.lists(st.text(alphabet='ab ,"\n\r;\t', max_size=4), min_size=1, max_size=6),
        max_size=8,
    )
)
def test_rows_in_are_rows_read_and_rows_named(rows):
    """Fields without quotes or line ends: nothing of them may get lost or be counted twice."""
    cleaned = [[cell.translate({ord(one): None for one in ',"\n\r'}) for cell in row] for row in rows]
    content = HEADER + "".join(",".join(row) + "\n" for row in cleaned)
    table = read(content)
    filled = [number for number, row in enumerate(cleaned, start=2) if any(cell.strip() for cell in row)]
    assert sorted([*lines(table), *(problem.line for problem in table.problems)]) == filled


@given(st.permutations(list(gearbook.REQUIRED)))
def test_the_order_of_columns_does_not_matter(order):
    cells = dict(zip(gearbook.REQUIRED, ("G-1", "glove", "Dev", "person"), strict=True))
    table = read(",".join(order) + "\n" + ",".join(cells[name] for name in order) + "\n")
    assert table.rows[0].cells == cells


# Workbooks -------------------------------------------------------------------------------------------------------


def cell_of(column, value, **formats):
    table = read(workbooks.workbook(("item_no", "kind", "holder", "holder_kind", column),
                                    ("G-1", "glove", "Dev", "person", value), **formats))  # fmt: skip
    return table.rows[0].cells.get(column) if table.rows else table.problems[0].code


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (16.1, "16.1"),
        (0.1 + 0.2, "0.3"),
        (20000, "20000"),
        (20000.0, "20000"),
        (0.001, "0.001"),
        (0.00001, "0.00001"),
        (0, "0"),
        (-4.5, "-4.5"),
        (999999999999999, "999999999999999"),
        ("00123", "00123"),
        (" padded ", "padded"),
        (date(2026, 1, 5), "2026-01-05"),
        (None, None),
    ],
)
def test_a_cell_says_what_was_typed(value, text):
    assert cell_of("serial", value) == text


@pytest.mark.parametrize(
    ("value", "code"),
    [(10**15, "NUMBER_ROUNDED"), (1e300, "NUMBER_ROUNDED"), (True, "BAD_CELL"), ("=1+1", "FORMULA"),
     ("#N/A", "BAD_CELL"), ("x" * 1001, "BAD_CELL")],
)  # fmt: skip
def test_a_cell_that_may_say_something_else_refuses_its_row(value, code):
    assert cell_of("serial", value) == code


@pytest.mark.parametrize("shown_as", ["00000", "0%", "0.00%"])
def test_a_number_that_is_shown_in_another_form_refuses_its_row(shown_as):
    assert cell_of("serial", 123, formats={"E2": shown_as}) == "NUMBER_SHOWN_OTHERWISE"


@pytest.mark.parametrize("stated", ["", "A1:B1", "A1:G2", "A1:XFD1048576"])
def test_no_row_is_lost_to_a_wrong_statement_of_size(stated):
    """A sheet may say that it ends before it does; rows behind that end must not vanish."""
    whole = (FILES / "good" / "gear_book.xlsx").read_bytes()
    table = read(workbooks.with_dimension(whole, stated))
    assert ([row.cells["item_no"] for row in table.rows], table.problems) == (
        ["G-01001", "G-01002", "B-00417"],
        (),
    )


@pytest.mark.parametrize(("header", "refused"), [(("item_no", "kind"), True), (("remarks",), False)])
def test_a_workbook_that_goes_on_behind_its_first_sheet_is_refused(header, refused):
    book = load_workbook(FILES / "good" / "gear_book.xlsx")
    book.create_sheet("Depot 2").append(header)
    book.save(data := io.BytesIO())
    if refused:
        with pytest.raises(FileRefused, match="also on Depot 2"):
            read(data.getvalue())
    else:
        assert len(read(data.getvalue()).rows) == 3


def test_a_formula_is_refused_even_where_its_last_result_is_stored():
    def with_result(name, part):
        return (
            part.replace(b"<v></v>", b"<v>360</v>")
            .replace(b"<v />", b"<v>360</v>")
            .replace(b"<v/>", b"<v>360</v>")
        )

    data = workbooks.rewritten((FILES / "broken" / "formula.xlsx").read_bytes(), with_result)
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        assert b"<v>360</v>" in package.read(workbooks.SHEET)
    assert [problem.code for problem in read(data).problems] == ["FORMULA"]


def test_only_the_first_sheet_is_read_whatever_the_file_is_called():
    data = (FILES / "good" / "gear_book.xlsx").read_bytes()
    assert len(read(data, name="gear.csv").rows) == 3
    assert refusal(HEADER + ROW, name="gear.xlsx")[0] == "NOT_A_WORKBOOK"


def test_a_workbook_with_a_password_or_of_the_old_kind_is_named():
    assert refusal(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, name="book.xls")[0] == "OLD_WORKBOOK"
    data = bytearray(workbooks.one_row())
    directory = data.index(b"PK\x01\x02")
    data[directory + 8] |= 1  # the flag of an encrypted part (APPNOTE 4.4.4, from memory)
    assert refusal(bytes(data))[0] == "ENCRYPTED"


@pytest.mark.parametrize("name", workbooks.written())
def test_the_workbooks_on_disk_are_those_the_generator_writes(name):
    on_disk, made = (FILES / name).read_bytes(), workbooks.written()[name]
    with zipfile.ZipFile(io.BytesIO(on_disk)) as one, zipfile.ZipFile(io.BytesIO(made)) as other:
        assert one.namelist() == other.namelist()
        assert one.read(workbooks.SHEET) == other.read(workbooks.SHEET)


# Anything at all -------------------------------------------------------------------------------------------------


def _table_or_refusal(data, name="book.csv"):
    try:
        return read(data, name=name, most_rows=500)
    except FileRefused as refused:
        return refused


@given(st.binary(max_size=400))
def test_any_bytes_give_a_table_or_a_refusal(data):
    for name in ("book.csv", "book.xlsx"):
        assert isinstance(_table_or_refusal(data, name), (tables.Table, FileRefused))
    assert isinstance(_table_or_refusal(HEADER.encode() + data), (tables.Table, FileRefused))
    assert isinstance(_table_or_refusal(b"PK\x03\x04" + data), (tables.Table, FileRefused))


WHOLE = workbooks.one_row()


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, len(WHOLE) - 1), st.integers(0, 255)), min_size=1, max_size=6),
    st.data(),
)
def test_a_damaged_workbook_gives_a_table_or_a_refusal(flips, data):
    damaged = bytearray(WHOLE)
    for place, byte in flips:
        damaged[place] = byte
    cut = data.draw(st.integers(0, len(WHOLE)))
    assert isinstance(_table_or_refusal(bytes(damaged)), (tables.Table, FileRefused))
    assert isinstance(_table_or_refusal(WHOLE[:cut]), (tables.Table, FileRefused))


with zipfile.ZipFile(io.BytesIO(WHOLE)) as _package:
    SHEET_XML = _package.read(workbooks.SHEET)


@settings(deadline=None)
@given(st.integers(0, len(SHEET_XML) - 1), st.binary(min_size=1, max_size=6))
def test_a_damaged_sheet_in_a_sound_package_gives_a_table_or_a_refusal(place, patch):
    def damage(name, part):
        return part[:place] + patch + part[place + len(patch) :] if name == workbooks.SHEET else part

    assert isinstance(_table_or_refusal(workbooks.rewritten(WHOLE, damage)), (tables.Table, FileRefused))
