"""What a row of a test book says of an item: accepted, failed, void or not judged, and what the answer makes of it."""

from datetime import date

import pytest

from gear import queries
from gear.models import Item, ItemState
from gear.rules import packs
from inspections.models import ElectricalTest, Instrument
from tests import builders
from tests.books import bench_book, gear_book, jumper_test
from tests.bringing import imported, line

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


def verdict(item_no: str, on: date = DAY) -> str:
    return queries.answer(item_no, queries.question(on)).verdict


def reasons(item_no: str, on: date = DAY) -> list[str]:
    return [reason.code for reason in queries.answer(item_no, queries.question(on)).reasons]


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
    imported("gear", gear_book(tmp_path, glove, mate), "--commit")
    imported("tests", bench_book(tmp_path, {"item_no": "G-1", **cells}, {"item_no": "G-2"}), "--commit")
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
    imported("tests", bench_book(tmp_path, jumper_test("J-1", **cells)), "--commit")
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
    imported("gear", gear_book(tmp_path, *rows), "--commit")
    path = bench_book(
        tmp_path,
        {"item_no": "G-1", "leakage_ma": str(limit_ma)},
        {"item_no": "G-2", "leakage_ma": f"{limit_ma}.001"},
    )
    imported("tests", path, "--commit")
    assert [row.outcome for row in ElectricalTest.objects.order_by("item__item_no")] == ["accepted", "failed"]


def test_without_a_figure_there_is_no_verdict(tmp_path):
    row = {
        "item_no": "J-9",
        **{name: value for name, value in JUMPER.items() if name != "item_no"},
        "cable_size": "350 kcmil",
    }
    imported("gear", gear_book(tmp_path, row), "--commit")
    assert packs.load("us_federal").r20_mohm_per_ft("350 kcmil") is None
    told = imported("tests", bench_book(tmp_path, jumper_test("J-9")), "--commit")
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
    told = imported("tests", path, "--commit")
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
    told = imported("tests", path, "--commit")
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
    told = imported("tests", bench_book(tmp_path, {"item_no": "G-1", "breakdown": ""}, jumper_test("J-1")))
    assert "Breakdown is not stated" in line(told, 2)
    assert line(told, 3) == "line 3: J-1 new, accepted"


def test_imports_bypass_the_guards_and_the_answer_shows_the_block(tmp_path, book):
    builders.happened(Item.objects.get(item_no="B-1"), "destroyed", reason="cut up", witness="ines", on=DAY)
    told = imported(
        "tests",
        bench_book(tmp_path, {"item_no": "B-1", "leakage_ma": "", "tested_on": "2026-03-03"}),
        "--commit",
    )
    assert "recorded as destroyed" in told
    assert reasons("B-1", LATER)[0] == "DESTROYED"


# Where and when


def test_a_row_lands_on_its_own_day_however_late_it_is_entered(tmp_path, book):
    """FAULTS D13: what was true then changes, what was known then does not."""
    before = queries.question(LATER)
    first_known = queries.question(LATER, known_at=before.asked_at)
    imported("tests", bench_book(tmp_path, {"item_no": "B-1", "leakage_ma": ""}), "--commit")
    assert queries.answer("B-1", queries.question(LATER)).verdict == "good"
    assert queries.answer("B-1", first_known).verdict == "stop"


def test_an_old_pass_never_clears_a_newer_failure(tmp_path, book):
    imported(
        "tests", bench_book(tmp_path, {"item_no": "B-1", "leakage_ma": "", "breakdown": "yes"}), "--commit"
    )
    older = {"item_no": "B-1", "leakage_ma": "", "tested_on": "2026-02-01", "report_no": "R-0"}
    newer = {"item_no": "B-1", "leakage_ma": "", "tested_on": "2026-03-05", "report_no": "R-2"}
    imported("tests", bench_book(tmp_path, older, newer), "--commit")
    assert "FAILED_TEST" in reasons("B-1", LATER)


def test_out_for_test_ends_by_an_accepted_test_alone(tmp_path, book):
    blanket = Item.objects.get(item_no="B-1")
    builders.happened(blanket, "sent_for_test", on=date(2026, 3, 1))
    imported(
        "tests",
        bench_book(tmp_path, {"item_no": "B-1", "leakage_ma": "", "seconds": "3", "report_no": "R-0"}),
        "--commit",
    )
    assert ItemState.objects.get(item=blanket).condition == "out_for_test"
    imported("tests", bench_book(tmp_path, {"item_no": "B-1", "leakage_ma": ""}), "--commit")
    assert ItemState.objects.get(item=blanket).condition == "ok"
