"""The test book comes in from a file: judged line by line, all or nothing, repeatable."""

import io
import json
import re
from datetime import date
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gear import queries
from gear.actions.acting import Act
from gear.actions.committing import BY_COMMAND, BY_PAGE
from gear.ledger import verify
from gear.models import Entry, ImportedFile, Item, ItemState, Refusal
from gear.permissions import NotAllowed
from gear.rules import packs
from inspections.actions import testbook
from inspections.actions.testing import log_test
from inspections.models import ElectricalTest, Instrument
from inspections.rules.acceptance import Reading
from tests import builders
from tests.books import bench_book, gear_book, jumper_test, workbook

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
    call_command(
        "import_gear", str(gear_book(tmp_path, *GLOVES, BLANKET, JUMPER)), "--commit", stdout=io.StringIO()
    )


def imported(path: Path, *options: str) -> str:
    out = io.StringIO()
    call_command("import_tests", str(path), *options, stdout=out)
    return out.getvalue()


def refused(path: Path, *options: str) -> str:
    out = io.StringIO()
    with pytest.raises(CommandError) as error:
        call_command("import_tests", str(path), *options, stdout=out)
    assert error.value.returncode == 1
    return out.getvalue() + str(error.value)


def line(told: str, number: int) -> str:
    return next(one for one in told.splitlines() if one.startswith(f"line {number}:"))


def verdict(item_no: str, on: date = DAY) -> str:
    return queries.answer(item_no, queries.question(on)).verdict


def reasons(item_no: str, on: date = DAY) -> list[str]:
    return [reason.code for reason in queries.answer(item_no, queries.question(on)).reasons]


def counts() -> tuple[int, int, int]:
    return (
        ElectricalTest.objects.count(),
        Entry.objects.filter(kind="tested").count(),
        ImportedFile.objects.count(),
    )


def test_a_dry_run_judges_every_line_and_stores_nothing(tmp_path, book):
    path = bench_book(tmp_path, {"item_no": "G-1"}, {"item_no": "G-2", "leakage_ma": "16.1"})
    told = imported(path)
    assert line(told, 2) == "line 2: G-1 new, accepted"
    assert line(told, 3) == "line 3: G-2 new, failed: The item is rejected: current above the limit."
    assert "1 accepted, 1 failed" in told
    assert "Dry run: nothing was stored" in told
    assert counts() == (0, 0, 1)  # the gear book
    assert verdict("G-1") == "stop"


def test_a_commit_moves_the_clocks_and_keeps_the_file(tmp_path, book):
    path = bench_book(tmp_path, {"item_no": "G-1"}, {"item_no": "G-2"})
    imported(path, "--commit")
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
    imported(path, "--commit")
    before = counts()
    told = imported(path, "--commit")
    assert "0 new, 2 known, 0 refused" in told
    assert counts() == before


def test_a_test_logged_by_hand_is_known_in_the_file(tmp_path, cast, book):
    reading = Reading(
        tested_on=DAY, purpose="in_service", supply="ac", applied_v=20_000, seconds=60,
        visual="accept", breakdown=False, flashover=False,
    )  # fmt: skip
    log_test(Item.objects.get(item_no="B-1"), reading, act=Act(cast.orla), report_no="R-1")
    told = imported(bench_book(tmp_path, {"item_no": "B-1", "leakage_ma": ""}), "--commit")
    assert "0 new, 1 known" in told


def test_the_same_identity_with_other_content_refuses_the_file(tmp_path, book):
    imported(bench_book(tmp_path, {"item_no": "G-1"}), "--commit")
    before = counts()
    path = bench_book(tmp_path, {"item_no": "G-1", "leakage_ma": "12.6"}, {"item_no": "G-2"})
    told = refused(path, "--commit")
    assert "line 2: G-1 refused: report_no R-1 already holds a test of this item on this day" in told
    assert counts() == before
    assert Refusal.objects.get().act == "import_tests"


def test_the_same_identity_twice_in_one_file(tmp_path, book):
    told = refused(bench_book(tmp_path, {"item_no": "G-1"}, {"item_no": "G-1", "seconds": "61"}))
    assert "line 3: G-1 refused" in told
    told = imported(bench_book(tmp_path, {"item_no": "G-1"}, {"item_no": "G-1"}), "--commit")
    assert (line(told, 2), line(told, 3)) == ("line 2: G-1 new, accepted", "line 3: G-1 known")
    assert ElectricalTest.objects.count() == 1


def test_without_a_report_number_all_fields_identify_the_test(tmp_path, book):
    imported(bench_book(tmp_path, {"item_no": "B-1", "report_no": ""}), "--commit")
    told = imported(bench_book(tmp_path, {"item_no": "B-1", "report_no": "", "seconds": "61"}), "--commit")
    assert "1 new" in told
    assert ElectricalTest.objects.count() == 2


def test_equal_numbers_written_differently_are_one_test(tmp_path, book):
    imported(bench_book(tmp_path, {"item_no": "G-1", "leakage_ma": "12.50", "report_no": ""}), "--commit")
    told = imported(
        bench_book(tmp_path, {"item_no": "G-1", "leakage_ma": "12.5", "report_no": ""}), "--commit"
    )
    assert "0 new, 1 known" in told


def test_an_unknown_item_is_refused_and_never_made(tmp_path, book):
    """FAULTS G06."""
    told = refused(bench_book(tmp_path, {"item_no": "G-1"}, {"item_no": "G-99"}), "--commit")
    assert "line 3: G-99 refused: item_no G-99 is not in the gear book" in told
    assert counts() == (0, 0, 1)
    assert not Item.objects.filter(item_no="G-99").exists()


# DESIGN 13, "Tests": outcome of a row about a class 2 glove of 360 mm in service, changed cell by cell
@pytest.mark.parametrize(
    ("cells", "outcome", "answer"),
    [
        ({}, "accepted", []),
        # the proof voltage reached
        ({"applied_v": "19999"}, "void", ["NEVER_TESTED"]),
        ({"applied_v": "20001"}, "accepted", []),
        # 60 s in service, 180 s for purpose first
        ({"seconds": "59"}, "void", ["NEVER_TESTED"]),
        ({"purpose": "first", "seconds": "179"}, "void", ["NEVER_TESTED"]),
        ({"purpose": "first", "seconds": "180"}, "accepted", []),
        ({"purpose": "suspect"}, "accepted", []),
        ({"purpose": "after_repair"}, "accepted", []),
        # a current above zero and not above the limit of class and length, on AC
        ({"leakage_ma": "16"}, "accepted", []),
        ({"leakage_ma": "16.001"}, "failed", ["FAILED_TEST", "NEVER_TESTED"]),
        ({"leakage_ma": "0"}, "void", ["NEVER_TESTED"]),
        ({"leakage_ma": ""}, "void", ["NEVER_TESTED"]),
        ({"leakage_ma": "0.001"}, "accepted", []),
        # DC: another proof voltage (50 kV for class 2) and no current limit
        ({"supply": "dc", "applied_v": "50000", "leakage_ma": "0"}, "accepted", []),
        ({"supply": "dc", "applied_v": "50000", "leakage_ma": ""}, "accepted", []),
        ({"supply": "dc", "applied_v": "20000", "leakage_ma": "1"}, "void", ["NEVER_TESTED"]),
        # a reading missing
        ({"supply": ""}, "void", ["NEVER_TESTED"]),
        ({"applied_v": ""}, "void", ["NEVER_TESTED"]),
        ({"seconds": ""}, "void", ["NEVER_TESTED"]),
        # breakdown, flashover; blank is "not stated"
        ({"breakdown": "yes"}, "failed", ["FAILED_TEST", "NEVER_TESTED"]),
        ({"flashover": "yes"}, "void", ["NEVER_TESTED"]),
        ({"breakdown": "", "flashover": ""}, "accepted", []),
        # the look
        ({"visual": "reject"}, "failed", ["FAILED_TEST", "NEVER_TESTED"]),
        ({"visual": "test"}, "void", ["NEEDS_TEST", "NEVER_TESTED"]),
        ({"visual": "clean"}, "void", ["NEVER_TESTED", "NEEDS_CLEANING"]),
        # failed wins where failed and void both apply
        ({"visual": "reject", "seconds": "5"}, "failed", ["FAILED_TEST", "NEVER_TESTED"]),
        ({"leakage_ma": "17", "applied_v": "1000"}, "failed", ["FAILED_TEST", "NEVER_TESTED"]),
        # what the lab says is compared and never believed
        ({"lab_result": "reject"}, "accepted", []),
        ({"lab_result": "accept", "leakage_ma": "16.1"}, "failed", ["FAILED_TEST", "NEVER_TESTED"]),
    ],
)
def test_what_a_row_says_of_a_glove(tmp_path, cells, outcome, answer):
    glove = {"item_no": "G-1", "hand": "L", "set_no": "P-1"}
    mate = {"item_no": "G-2", "hand": "R", "set_no": "P-1"}
    call_command("import_gear", str(gear_book(tmp_path, glove, mate)), "--commit", stdout=io.StringIO())
    imported(bench_book(tmp_path, {"item_no": "G-1", **cells}, {"item_no": "G-2"}), "--commit")
    assert ElectricalTest.objects.get(item__item_no="G-1").outcome == outcome
    assert reasons("G-1") == answer


# FEATURES 31 and DESIGN 13: both the corrected reading and the reading as it is must be within their limits
@pytest.mark.parametrize(
    ("cells", "outcome"),
    [
        ({"resistance_mohm": "1.154"}, "accepted"),  # limit 1.1548 at 20 C for 2/0 and 10 ft
        ({"resistance_mohm": "1.155"}, "failed"),
        ({"resistance_mohm": "1.250", "cable_temp_c": "35"}, "failed"),
        ({"resistance_mohm": "1.203", "cable_temp_c": "35"}, "accepted"),  # limit 1.2040 as read
        ({"resistance_mohm": "1.205", "cable_temp_c": "35"}, "failed"),
        # below 20 C the corrected reading is the stricter: 1.0563 as read, 1.0187 that corrects to 1.1548
        ({"resistance_mohm": "1.018", "cable_temp_c": "-10"}, "accepted"),
        ({"resistance_mohm": "1.05", "cable_temp_c": "-10"}, "failed"),
        ({"resistance_mohm": "", "cable_temp_c": "20"}, "void"),
        ({"cable_temp_c": ""}, "void"),
        ({"resistance_mohm": "0"}, "void"),
        ({"visual": "reject"}, "failed"),
    ],
)
def test_what_a_row_says_of_a_jumper(tmp_path, book, cells, outcome):
    imported(bench_book(tmp_path, jumper_test("J-1", **cells)), "--commit")
    assert ElectricalTest.objects.get().outcome == outcome


@pytest.mark.parametrize(
    ("length_mm", "limit_ma"),
    # 29 CFR 1910.137 Table I-1, class 2: 16 / 18 / 20; another length takes the limit of the next shorter one
    [
        ("356", 16),
        ("360", 16),
        ("380", 16),
        ("405", 16),
        ("406", 18),
        ("410", 18),
        ("457", 20),
        ("500", 20),
    ],
)
def test_the_limit_of_the_next_shorter_length(tmp_path, length_mm, limit_ma):
    rows = [{"item_no": f"G-{number}", "length_mm": length_mm} for number in (1, 2)]
    call_command("import_gear", str(gear_book(tmp_path, *rows)), "--commit", stdout=io.StringIO())
    path = bench_book(
        tmp_path,
        {"item_no": "G-1", "leakage_ma": str(limit_ma)},
        {"item_no": "G-2", "leakage_ma": f"{limit_ma}.001"},
    )
    imported(path, "--commit")
    assert [row.outcome for row in ElectricalTest.objects.order_by("item__item_no")] == ["accepted", "failed"]


def test_without_a_figure_there_is_no_verdict(tmp_path):
    row = {
        "item_no": "J-9",
        **{name: value for name, value in JUMPER.items() if name != "item_no"},
        "cable_size": "350 kcmil",
    }
    call_command("import_gear", str(gear_book(tmp_path, row)), "--commit", stdout=io.StringIO())
    assert packs.load("us_federal").r20_mohm_per_ft("350 kcmil") is None
    told = imported(bench_book(tmp_path, jumper_test("J-9")), "--commit")
    assert "J-9 new, unjudged" in told
    assert verdict("J-9") == "unknown"


# Notes do not refuse


def test_a_lab_that_differs_is_a_note_and_the_file_commits(tmp_path, book):
    path = bench_book(
        tmp_path,
        {"item_no": "G-1", "lab_result": "reject"},
        {"item_no": "G-2", "lab_result": "accept", "leakage_ma": "16.1"},
        {"item_no": "B-1", "leakage_ma": "", "lab_result": "accept"},
        jumper_test("J-1", resistance_mohm="2", lab_result="reject"),
    )
    told = imported(path, "--commit")
    assert "The lab says reject, the readings say accepted" in line(told, 2)
    assert "The lab says accept, the readings say failed" in line(told, 3)
    assert "The lab says" not in line(told, 4) + line(told, 5)
    assert ElectricalTest.objects.count() == 4


def test_calibration_not_on_file_is_a_note_and_expired_makes_the_test_void(tmp_path, book):
    Instrument.objects.create(name="Meter 1", calibration_due_on=DAY)
    Instrument.objects.create(name="Meter 2", calibration_due_on=date(2026, 3, 1))
    path = bench_book(
        tmp_path,
        {"item_no": "G-1", "instrument": "Meter 1"},
        {"item_no": "G-2", "instrument": "Meter 2"},
        {"item_no": "B-1", "instrument": "Meter 3", "leakage_ma": ""},
    )
    told = imported(path, "--commit")
    assert line(told, 2) == "line 2: G-1 new, accepted"
    assert "new, void: It clears nothing: the calibration of the instrument or lab had run out." in line(
        told, 3
    )
    assert "new, accepted: Meter 3: calibration not on file." in line(told, 4)
    assert [row.calibration for row in ElectricalTest.objects.order_by("item__item_no")] == [
        "not_on_file",
        "on_file",
        "expired",
    ]


def test_breakdown_not_stated_is_a_note_for_what_is_proof_tested(tmp_path, book):
    told = imported(bench_book(tmp_path, {"item_no": "G-1", "breakdown": ""}, jumper_test("J-1")))
    assert "Breakdown is not stated" in line(told, 2)
    assert line(told, 3) == "line 3: J-1 new, accepted"


def test_imports_bypass_the_guards_and_the_answer_shows_the_block(tmp_path, book):
    builders.happened(Item.objects.get(item_no="B-1"), "destroyed", reason="cut up", witness="ines", on=DAY)
    told = imported(
        bench_book(tmp_path, {"item_no": "B-1", "leakage_ma": "", "tested_on": "2026-03-03"}), "--commit"
    )
    assert "recorded as destroyed" in told
    assert reasons("B-1", LATER)[0] == "DESTROYED"


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
    told = refused(bench_book(tmp_path, {"item_no": "G-1", **cells}, {"item_no": "G-2"}), "--commit")
    assert "refused" in line(told, 2)
    assert name in line(told, 2)
    assert sentence in line(told, 2)
    assert counts() == (0, 0, 1)


def test_kilovolts_keyed_as_volts_prove_nothing(tmp_path, book):
    """FAULTS A10: possible and proving nothing, so kept and void; the line asks about the unit."""
    told = imported(bench_book(tmp_path, {"item_no": "G-1", "applied_v": "20"}), "--commit")
    assert "new, void" in line(told, 2)
    assert "applied_v looks like another unit: 20. Give it in V." in line(told, 2)
    assert verdict("G-1") == "stop"


def test_a_test_before_the_item_was_made_is_refused(tmp_path):
    made = {**BLANKET, "made_on": "2026-03-02", "received_on": ""}
    call_command(
        "import_gear",
        str(gear_book(tmp_path, {**made, "first_issued_on": ""})),
        "--commit",
        stdout=io.StringIO(),
    )
    told = refused(bench_book(tmp_path, {"item_no": "B-1", "tested_on": "2026-03-01", "leakage_ma": ""}))
    assert "tested_on (2026-03-01) lies before made_on (2026-03-02)" in told
    imported(bench_book(tmp_path, {"item_no": "B-1", "leakage_ma": ""}), "--commit")


def test_nothing_is_judged_where_the_rules_cannot_be_relied_upon(tmp_path, book, monkeypatch):
    def refuse(*_args, **_kwargs):
        raise packs.PackRefused("us_federal_1.toml has been altered")

    monkeypatch.setattr(packs, "load", refuse)
    told = refused(bench_book(tmp_path, {"item_no": "G-1"}), "--commit")
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
    assert sentence in refused(path, "--commit")
    assert counts() == (0, 0, 1)


def test_a_byte_order_mark_is_no_part_of_the_header(tmp_path, book):
    path = bench_book(tmp_path, {"item_no": "G-1"})
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert "1 new" in imported(path, "--commit")


def test_a_workbook_is_read_like_a_csv(tmp_path, book):
    imported(workbook(tmp_path, "tests", {"item_no": "G-1"}), "--commit")
    assert "1 known" in imported(bench_book(tmp_path, {"item_no": "G-1"}))


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


# Where and when


def test_a_row_lands_on_its_own_day_however_late_it_is_entered(tmp_path, book):
    """FAULTS D13: what was true then changes, what was known then does not."""
    before = queries.question(LATER)
    first_known = queries.question(LATER, known_at=before.asked_at)
    imported(bench_book(tmp_path, {"item_no": "B-1", "leakage_ma": ""}), "--commit")
    assert queries.answer("B-1", queries.question(LATER)).verdict == "good"
    assert queries.answer("B-1", first_known).verdict == "stop"


def test_an_old_pass_never_clears_a_newer_failure(tmp_path, book):
    imported(bench_book(tmp_path, {"item_no": "B-1", "leakage_ma": "", "breakdown": "yes"}), "--commit")
    older = {"item_no": "B-1", "leakage_ma": "", "tested_on": "2026-02-01", "report_no": "R-0"}
    newer = {"item_no": "B-1", "leakage_ma": "", "tested_on": "2026-03-05", "report_no": "R-2"}
    imported(bench_book(tmp_path, older, newer), "--commit")
    assert "FAILED_TEST" in reasons("B-1", LATER)


def test_out_for_test_ends_by_an_accepted_test_alone(tmp_path, book):
    blanket = Item.objects.get(item_no="B-1")
    builders.happened(blanket, "sent_for_test", on=date(2026, 3, 1))
    imported(
        bench_book(tmp_path, {"item_no": "B-1", "leakage_ma": "", "seconds": "3", "report_no": "R-0"}),
        "--commit",
    )
    assert ItemState.objects.get(item=blanket).condition == "out_for_test"
    imported(bench_book(tmp_path, {"item_no": "B-1", "leakage_ma": ""}), "--commit")
    assert ItemState.objects.get(item=blanket).condition == "ok"


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
    call_command("import_gear", str(gear_book(tmp_path, *gloves)), "--commit", stdout=io.StringIO())
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
    told = refused(bench_book(tmp_path, *rows))
    lines = [int(found) for found in re.findall(r"(?m)^line (\d+):", told)]
    assert lines == list(range(2, 5002))
    assert "5000 lines: 4999 new, 0 known, 1 refused" in told
