"""A pack with a table, row, column or source left out, or with two rows in each other's way, is refused."""

import tomllib
from decimal import Decimal

import pytest

from gear.rules import packs
from gear.rules.packs.schema import TABLES
from tests.rules.pack_folder import refusal, rewrite, seal

PACK = packs.load("us_federal")


def without(table=None, row=None, column=None):
    """The text of us_federal.toml with one table, row or column left out, written by hand from its parsed form."""
    content = tomllib.loads((packs.DEFAULT / "us_federal.toml").read_text(), parse_float=Decimal)
    if row is None:
        del content[table]
    elif column is None:
        del content[table]["rows"][row]
    else:
        del content[table]["rows"][row][column]
    return written(content)


def written(content):
    lines = [
        f"{field} = {word(content[field])}" for field in ("name", "version", "title") if field in content
    ]
    for name, table in content.items():
        if isinstance(table, dict):
            lines += [f"[{name}]", f"title = {word(table['title'])}", f"note = {word(table['note'])}"]
            rows = ",\n".join(
                "{ " + ", ".join(f"{column} = {word(value)}" for column, value in row.items()) + " }"
                for row in table["rows"]
            )
            lines.append(f"rows = [\n{rows}\n]")
    return "\n".join(lines) + "\n"


def word(value):
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, list):
        return "[" + ", ".join(map(word, value)) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{name} = {word(part)}" for name, part in value.items()) + " }"
    return str(value)


def store(folder, text):
    (folder / "us_federal.toml").write_text(text, encoding="utf-8")
    seal(folder)


def test_the_pack_written_out_again_is_the_same_pack(folder):
    """The ground for the tests below: leaving nothing out leaves a pack that loads."""
    content = tomllib.loads((packs.DEFAULT / "us_federal.toml").read_text(), parse_float=Decimal)
    store(folder, written(content))
    assert packs.load("us_federal", "1", folder).data == PACK.data


@pytest.mark.parametrize("table", TABLES)
def test_a_missing_table_refuses_the_pack(folder, table):
    store(folder, without(table))
    assert f"table [{table}] is missing" in refusal(folder)


@pytest.mark.parametrize(
    ("table", "row"),
    [
        (table, row)
        for table, spec in TABLES.items()
        for row, written_row in enumerate(PACK.data[table]["rows"])
        if tuple(written_row[part] for part in spec.key) in spec.required
    ],
)
def test_a_missing_class_kind_grade_or_reason_refuses_the_pack(folder, table, row):
    store(folder, without(table, row))
    assert f"table [{table}] has no row for" in refusal(folder)


@pytest.mark.parametrize(
    ("table", "column"),
    [(table, column) for table in TABLES for column in PACK.data[table]["rows"][0] if column != "confirm"],
)
def test_a_missing_column_source_clause_or_status_refuses_the_pack(folder, table, column):
    store(folder, without(table, 0, column))
    assert f"table [{table}] row 1" in refusal(folder)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('class = "0", volts = 5000', 'class = "00", volts = 5000', "repeats 00"),
        ("volts = 2500,", "volts = 0,", "volts cannot be 0"),
        ("volts = 2500,", "volts = -2500,", "volts cannot be -2500"),
        ("volts = 2500,", "volts = true,", "volts cannot be True"),
        ("volts = 2500,", "volts = 2500.5,", "volts cannot be"),
        ("volts = 2500,", 'volts = "2500",', "volts cannot be '2500'"),
        ("mohm_per_ft = 0.1590", "mohm_per_ft = nan", "mohm_per_ft cannot be"),
        ("mohm_per_ft = 0.1590", "mohm_per_ft = inf", "mohm_per_ft cannot be"),
        ("mohm_per_ft = 0.1590", "mohm_per_ft = -0.1", "mohm_per_ft cannot be"),
        (
            "mohm_per_ft = 0.1590",
            "mohm_per_ft = 0.1590, no_value = true",
            "exactly one of mohm_per_ft and no_value",
        ),
        (
            "milliamperes = 8,",
            "milliamperes = 8, no_value = true,",
            "exactly one of milliamperes and no_value",
        ),
        ("milliamperes = 8,", "milliamperes = 8, volts = 1,", "unknown column 'volts'"),
        ("milliamperes = 8,", "milliamperes = 8, confirm = false,", "unknown column 'confirm'"),
        ('status = "read"', 'status = "certain"', "status cannot be 'certain'"),
        ('clause = "class table"', 'clause = " "', "clause cannot be ' '"),
        ("no_clock = true", "", "exactly one of interval and no_clock"),
        ("no_clock = true", "no_clock = false", "no_clock cannot be False"),
        ('interval = { count = 6, unit = "months" }', "", "exactly one of interval and no_clock"),
        ('count = 6, unit = "months"', 'count = 6, unit = "years"', "interval cannot be"),
        ('count = 6, unit = "months"', "count = 6", "interval cannot be"),
        ("test_required = true", 'test_required = "yes"', "test_required cannot be 'yes'"),
        (
            'voiding_events = ["suspect",',
            'voiding_events = ["suspect", "suspect",',
            "voiding_events cannot be",
        ),
        ('voiding_events = ["suspect",', 'voiding_events = ["sneezed",', "voiding_events cannot be"),
        ('voiding_events = ["suspect",', "voiding_events = [1,", "voiding_events cannot be"),
        ("column_mm = 360, from_mm = 356", "column_mm = 360, from_mm = 275", "overlaps another column"),
        ("column_mm = 360, from_mm = 356", "column_mm = 360, from_mm = 280", "overlaps another column"),
        ("column_mm = 360, from_mm = 356", "column_mm = 360, from_mm = 361", "overlaps another column"),
        ('title = "Proof test, AC"', "", "table [ac_proof] has no title"),
        ("[ac_proof]", "[ac_prof]\n[ac_proof]", "unknown table or field 'ac_prof'"),
        ('version = "1"', 'version = "1"\nspeed = {}', "unknown table or field 'speed'"),
    ],
)
def test_a_row_with_a_fault_refuses_the_pack_and_names_it(folder, old, new, said):
    rewrite(folder, old, new)
    assert said in refusal(folder)
