"""The test book comes in from a file: judged line by line, all or nothing, repeatable."""

import io
import json
import re
from datetime import date

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gear import queries
from gear.actions.acting import Act
from gear.actions.committing import BY_COMMAND, BY_PAGE
from gear.ledger import verify
from gear.models import Entry, ImportedFile, Item, Refusal
from gear.permissions import NotAllowed
from gear.rules import packs
from inspections.actions import testbook
from inspections.actions.testing import log_test
from inspections.models import ElectricalTest
from inspections.rules.acceptance import Reading
from tests import builders
from tests.books import bench_book, gear_book, workbook
from tests.bringing import imported, line, refused

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 2)
LATER = date(2026, 4, 1)
GLOVES = [
    {"item_no": "G-1", "hand": "L", "set_no": "P-1"},
    {"item_no": "G-2", "hand": "R", "set_no": "P-1"},
]
JUMPER = {
    "item_no": "J-1",
    "kind": "grounding_jumper",
    **dict.fromkeys(("cls", "hand", "size", "length_mm", "first_issued_on"), ""),
    "cable_size": "2/0",
    "cable_length_m": "3.048",
    "holder": "Rack",
    "holder_kind": "shelf",
}
BLANKET = {"item_no": "B-1", "kind": "blanket", "hand": ""}


@pytest.fixture
def book(tmp_path) -> None:
    """Two gloves of a pair, a blanket and a jumper of 10 ft, all in the book."""
    imported("gear", gear_book(tmp_path, *GLOVES, BLANKET, JUMPER), "--commit")


def counts() -> tuple[int, int, int]:
    return (
        ElectricalTest.objects.count(),
        Entry.objects.filter(kind="tested").count(),
        ImportedFile.objects.count(),
    )


def test_a_dry_run_judges_every_line_and_stores_nothing(tmp_path, book):
    path = bench_book(tmp_path, {"item_no": "G-1"}, {"item_no": "G-2", "leakage_ma": "16.1"})
    told = imported("tests", path)
    assert line(told, 2) == "line 2: G-1 new, accepted"
    assert line(told, 3) == "line 3: G-2 new, failed: The item is rejected: current above the limit."
    assert "1 accepted, 1 failed" in told
    assert "Dry run: nothing was stored" in told
    assert counts() == (0, 0, 1)  # the gear book
    assert queries.answer("G-1", queries.question()).verdict == "stop"


def test_a_commit_moves_the_clocks_and_keeps_the_file(tmp_path, book):
    path = bench_book(tmp_path, {"item_no": "G-1"}, {"item_no": "G-2"})
    imported("tests", path, "--commit")
    assert counts() == (2, 2, 2)
    kept = ImportedFile.objects.get(book="tests")
    assert bytes(kept.content) == path.read_bytes()
    answer = queries.answer("G-1", queries.question(DAY))
    assert (answer.verdict, answer.good_through, answer.winning_clock) == (
        "good",
        date(2026, 9, 1),
        "last_test+6",
    )
    assert verify.verify() == []


def test_repeating_a_file_adds_nothing_and_is_no_failure(tmp_path, book):
    path = bench_book(tmp_path, {"item_no": "G-1"}, {"item_no": "G-2", "report_no": ""})
    imported("tests", path, "--commit")
    before = counts()
    told = imported("tests", path, "--commit")
    assert "0 new, 2 known, 0 refused" in told
    assert counts() == before


def test_a_test_logged_by_hand_is_known_in_the_file(tmp_path, cast, book):
    reading = Reading(
        tested_on=DAY, purpose="in_service", supply="ac", applied_v=20_000, seconds=60,
        visual="accept", breakdown=False, flashover=False,
    )  # fmt: skip
    log_test(Item.objects.get(item_no="B-1"), reading, act=Act(cast.orla), report_no="R-1")
    told = imported("tests", bench_book(tmp_path, {"item_no": "B-1", "leakage_ma": ""}), "--commit")
    assert "0 new, 1 known" in told


def test_the_same_identity_with_other_content_refuses_the_file(tmp_path, book):
    imported("tests", bench_book(tmp_path, {"item_no": "G-1"}), "--commit")
    before = counts()
    path = bench_book(tmp_path, {"item_no": "G-1", "leakage_ma": "12.6"}, {"item_no": "G-2"})
    told = refused("tests", path, "--commit")
    assert "line 2: G-1 refused: report_no R-1 already holds a test of this item on this day" in told
    assert counts() == before
    assert Refusal.objects.get().act == "import_tests"


def test_the_same_identity_twice_in_one_file(tmp_path, book):
    told = refused("tests", bench_book(tmp_path, {"item_no": "G-1"}, {"item_no": "G-1", "seconds": "61"}))
    assert "line 3: G-1 refused" in told
    told = imported("tests", bench_book(tmp_path, {"item_no": "G-1"}, {"item_no": "G-1"}), "--commit")
    assert (line(told, 2), line(told, 3)) == ("line 2: G-1 new, accepted", "line 3: G-1 known")
    assert ElectricalTest.objects.count() == 1


def test_without_a_report_number_all_fields_identify_the_test(tmp_path, book):
    imported("tests", bench_book(tmp_path, {"item_no": "B-1", "report_no": ""}), "--commit")
    told = imported(
        "tests", bench_book(tmp_path, {"item_no": "B-1", "report_no": "", "seconds": "61"}), "--commit"
    )
    assert "1 new" in told
    assert ElectricalTest.objects.count() == 2


def test_equal_numbers_written_differently_are_one_test(tmp_path, book):
    imported(
        "tests", bench_book(tmp_path, {"item_no": "G-1", "leakage_ma": "12.50", "report_no": ""}), "--commit"
    )
    told = imported(
        "tests", bench_book(tmp_path, {"item_no": "G-1", "leakage_ma": "12.5", "report_no": ""}), "--commit"
    )
    assert "0 new, 1 known" in told


def test_an_unknown_item_is_refused_and_never_made(tmp_path, book):
    """FAULTS G06."""
    told = refused("tests", bench_book(tmp_path, {"item_no": "G-1"}, {"item_no": "G-99"}), "--commit")
    assert "line 3: G-99 refused: item_no G-99 is not in the gear book" in told
    assert counts() == (0, 0, 1)
    assert not Item.objects.filter(item_no="G-99").exists()


# Bad input


@pytest.mark.parametrize(
    ("cells", "name", "sentence"),
    [
        ({"tested_on": "2099-01-01"}, "tested_on", "future"),
        ({"tested_on": "02/03/2026"}, "tested_on", "not a date"),
        ({"tested_on": "46023"}, "tested_on", "spreadsheet"),
        ({"tested_on": ""}, "tested_on", "missing"),
        ({"purpose": "acceptance"}, "purpose", "must be one of"),
        ({"purpose": ""}, "purpose", "missing"),
        ({"visual": ""}, "visual", "missing"),
        ({"supply": "AC"}, "supply", "must be one of"),
        ({"leakage_ma": "-1"}, "leakage_ma", "negative"),
        ({"leakage_ma": "NaN"}, "leakage_ma", "plain number"),
        ({"leakage_ma": "1e3"}, "leakage_ma", "plain number"),
        ({"leakage_ma": "12,5"}, "leakage_ma", "plain number"),
        ({"leakage_ma": "12.5001"}, "leakage_ma", "plain number"),
        ({"leakage_ma": "+12"}, "leakage_ma", "plain number"),
        ({"leakage_ma": "0x10"}, "leakage_ma", "plain number"),
        ({"leakage_ma": "\u0661\u0662"}, "leakage_ma", "plain number"),
        ({"leakage_ma": "12500"}, "leakage_ma", "out of range"),
        ({"applied_v": "20000000"}, "applied_v", "out of range"),
        ({"seconds": "60.5"}, "seconds", "whole number"),
        ({"breakdown": "true"}, "breakdown", "must be one of"),
        ({"flashover": "n"}, "flashover", "must be one of"),
        ({"lab_result": "pass"}, "lab_result", "must be one of"),
    ],
)
def test_a_bad_cell_is_named_with_its_line(tmp_path, book, cells, name, sentence):
    told = refused("tests", bench_book(tmp_path, {"item_no": "G-1", **cells}, {"item_no": "G-2"}), "--commit")
    assert "refused" in line(told, 2)
    assert name in line(told, 2)
    assert sentence in line(told, 2)
    assert counts() == (0, 0, 1)


def test_kilovolts_keyed_as_volts_prove_nothing(tmp_path, book):
    """FAULTS A10: possible and proving nothing, so kept and void; the line asks about the unit."""
    told = imported("tests", bench_book(tmp_path, {"item_no": "G-1", "applied_v": "20"}), "--commit")
    assert "new, void" in line(told, 2)
    assert "applied_v looks like another unit: 20. Give it in V." in line(told, 2)
    assert queries.answer("G-1", queries.question()).verdict == "stop"


def test_a_test_before_the_item_was_made_is_refused(tmp_path):
    made = {**BLANKET, "made_on": "2026-03-02", "received_on": ""}
    call_command(
        "import_gear",
        str(gear_book(tmp_path, {**made, "first_issued_on": ""})),
        "--commit",
        stdout=io.StringIO(),
    )
    told = refused(
        "tests", bench_book(tmp_path, {"item_no": "B-1", "tested_on": "2026-03-01", "leakage_ma": ""})
    )
    assert "tested_on (2026-03-01) lies before made_on (2026-03-02)" in told
    imported("tests", bench_book(tmp_path, {"item_no": "B-1", "leakage_ma": ""}), "--commit")


def test_nothing_is_judged_where_the_rules_cannot_be_relied_upon(tmp_path, book, monkeypatch):
    def refuse(*_args, **_kwargs):
        raise packs.PackRefused("us_federal_1.toml has been altered")

    monkeypatch.setattr(packs, "load", refuse)
    told = refused("tests", bench_book(tmp_path, {"item_no": "G-1"}), "--commit")
    assert "cannot be relied upon" in line(told, 2)
    assert counts() == (0, 0, 1)


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"item_no,tested_on,purpose\nG-1,2026-03-02,first\n", "missing: visual"),
        (b"item_no,tested_on,purpose,visual,leakage_ua\n", "Unknown columns: leakage_ua"),  # FAULTS G08
        (b"item_no;tested_on;purpose;visual;leakage_ma\nG-1;2026-03-02;first;accept;0,5\n", "semicolons"),
        (
            b'item_no,tested_on,purpose,visual\nG-1,2026-03-02,first,"accept\nG-2,2026-03-02,first,reject\n',
            "line 2",
        ),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_whole(tmp_path, book, content, sentence):
    path = tmp_path / "tests.csv"
    path.write_bytes(content)
    assert sentence in refused("tests", path, "--commit")
    assert counts() == (0, 0, 1)


def test_a_byte_order_mark_is_no_part_of_the_header(tmp_path, book):
    path = bench_book(tmp_path, {"item_no": "G-1"})
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert "1 new" in imported("tests", path, "--commit")


def test_a_workbook_is_read_like_a_csv(tmp_path, book):
    imported("tests", workbook(tmp_path, "tests", {"item_no": "G-1"}), "--commit")
    assert "1 known" in imported("tests", bench_book(tmp_path, {"item_no": "G-1"}))


def test_json_gives_the_outcome_of_every_row(tmp_path, book):
    out = io.StringIO()
    path = bench_book(
        tmp_path, {"item_no": "G-1", "lab_result": "reject"}, {"item_no": "G-2", "seconds": "5"}
    )
    call_command("import_tests", str(path), "--commit", "--format", "json", stdout=out)
    told = json.loads(out.getvalue())
    assert (told["committed"], told["outcomes"]) == (True, {"accepted": 1, "void": 1})
    assert [row["outcome"] for row in told["rows"]] == ["accepted", "void"]
    assert [note["code"] for row in told["rows"] for note in row["notes"]] == ["LAB_DIFFERS", "TEST_VOID"]


# Who may


@pytest.mark.parametrize("who", ["dev", "bertrand", "ines", "halvard"])
def test_only_clerks_and_administrators_bring_in_files(tmp_path, cast, book, who):
    data = bench_book(tmp_path, {"item_no": "G-1"}).read_bytes()
    for bring in (testbook.dry_run, testbook.commit):
        with pytest.raises(NotAllowed):
            bring("tests.csv", data, act=Act(getattr(cast, who)), limits=BY_PAGE)


def test_a_clerk_of_one_depot_brings_in_tests_of_no_other(tmp_path, cast, book):
    """FAULTS G17: outside says so, unknown says unknown."""
    cast.orla.depot = builders.depot("Upland depot")
    data = bench_book(tmp_path, {"item_no": "G-1"}, {"item_no": "G-99"}).read_bytes()
    report = testbook.commit("tests.csv", data, act=Act(cast.orla, via="import"), limits=BY_PAGE)
    assert [fate.problems[0].code for fate in report.fates] == ["OTHER_DEPOT", "UNKNOWN_ITEM"]


def test_the_person_who_brought_the_file_in_stands_by_the_entries(tmp_path, cast, book):
    data = bench_book(tmp_path, {"item_no": "G-1"}).read_bytes()
    testbook.commit("tests.csv", data, act=Act(cast.orla, via="import"), limits=BY_PAGE)
    entry = Entry.objects.get(kind="tested")
    assert (entry.by, entry.via) == (cast.orla, "import")


def test_reads_do_not_grow_with_rows(tmp_path):
    gloves = [{"item_no": f"G-{number:05d}"} for number in range(360)]
    imported("gear", gear_book(tmp_path, *gloves), "--commit")
    reads = []
    for rows in (gloves[:40], gloves[40:]):
        data = bench_book(tmp_path, *({"item_no": row["item_no"]} for row in rows)).read_bytes()
        with CaptureQueriesContext(connection) as made:
            testbook.commit("tests.csv", data, act=Act(None, via="import"), limits=BY_COMMAND)
        reads.append(sum(one["sql"].startswith("SELECT") for one in made))
    assert reads[0] == reads[1]
    assert ElectricalTest.objects.count() == 360


def test_a_large_file_is_told_line_by_line_in_order(tmp_path, book):
    rows = [{"item_no": "B-1", "leakage_ma": "", "report_no": f"R-{number}"} for number in range(5000)]
    rows[4000]["seconds"] = "x"
    told = refused("tests", bench_book(tmp_path, *rows))
    lines = [int(found) for found in re.findall(r"(?m)^line (\d+):", told)]
    assert lines == list(range(2, 5002))
    assert "5000 lines: 4999 new, 0 known, 1 refused" in told
