"""Cases of the contract in the words of the trade, each brought in as files and asked for by command."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
import time_machine

from tests.contract import fleet
from tests.contract.commands import answers, as_csv, codes_of, report, told

pytestmark = pytest.mark.django_db
WEEKDAY = datetime(2026, 9, 14, 9, 40, tzinfo=UTC)
GOOD = {"supply": "ac", "applied_v": "20000", "seconds": "180", "leakage_ma": "9", "visual": "accept"}
OHMS = {"resistance_mohm": "1.1", "cable_temp_c": "20", "visual": "accept"}


@pytest.fixture(autouse=True)
def monday():
    """A Monday at the tool room; `shift` moves it."""
    with time_machine.travel(WEEKDAY, tick=False) as clock:
        yield clock


@pytest.fixture
def bring(tmp_path):
    """Bring in gear rows and test rows, each as a file of its own."""

    def brought(gear=(), tests=()):
        if gear:
            told("import_gear", as_csv(tmp_path / "gear.csv", gear, fleet.GEAR_COLUMNS), commit=True)
        if tests:
            told("import_tests", as_csv(tmp_path / "tests.csv", tests, fleet.TEST_COLUMNS), commit=True)

    return brought


def blanket(item_no="B-1", **cells):
    place = {"holder": "Dev", "holder_kind": "person", "received_on": "2015-06-01"}
    return {"item_no": item_no, "kind": "blanket", "class": "2", **place, **cells}


def pair(left="2016-10-01", **cells):
    """A pair of gloves first issued on a day."""
    shared = {"kind": "glove", "length_mm": "360", "set_no": "P-1", "first_issued_on": left, **cells}
    return [blanket("L", hand="L", **shared), blanket("R", hand="R", **shared)]


def jumpers(*numbers, **cells):
    cable = {"class": "", "kind": "grounding_jumper", "cable_size": "2/0", "cable_length_m": "3.048"}
    return [blanket(number, **cable, set_no="S-1", **cells) for number in numbers]


def proof_test(item_no, on, purpose="first", **cells):
    return {"item_no": item_no, "tested_on": on, "purpose": purpose, **GOOD, **cells}


def read_out(item_no, on, **cells):
    return {"item_no": item_no, "tested_on": on, "purpose": "in_service", **OHMS, **cells}


# The clocks: OSHA letters of 25 Jan 2019 and 19 Aug 2020, 29 CFR 1910.137 Table I-5 with its footnote; ends of months


@pytest.mark.parametrize(
    ("first_issued_on", "tests", "good_through", "clock"),
    [
        ("2016-10-01", ["2016-01-01"], "2016-12-31", "last_test+12"),
        ("2016-02-01", ["2016-01-01"], "2016-07-31", "first_issue+6"),
        ("2019-01-01", ["2018-12-01", "2019-07-01"], "2019-12-31", "last_test+6"),
        ("2026-03-02", ["2026-02-01", "2026-08-31"], "2027-02-27", "last_test+6"),
        ("2024-03-02", ["2024-02-29"], "2024-09-01", "first_issue+6"),
        ("2024-02-29", ["2024-01-02"], "2024-08-28", "first_issue+6"),
        ("", ["2026-08-31"], "2027-02-27", "last_test+6"),
    ],
)
def test_a_pair_of_gloves_is_good_through_the_day_before_the_anniversary(
    bring, first_issued_on, tests, good_through, clock
):
    purposes = ["first", *["in_service"] * len(tests)]
    bring(
        pair(first_issued_on),
        [proof_test(hand, on, way) for hand in "LR" for on, way in zip(tests, purposes, strict=False)],
    )
    last = date.fromisoformat(good_through)
    told_then = answers("L", as_of=last)["L"]
    assert (told_then["verdict"], told_then["good_through"]) == ("good", good_through)
    assert told_then["winning_clock"] == clock
    after = answers("L", as_of=last.fromordinal(last.toordinal() + 1))["L"]
    assert (after["verdict"], codes_of(after)) == ("stop", {"OUT_OF_DATE", "SET_NOT_COMPLETE"})


@pytest.mark.parametrize(
    ("kind", "cells", "good_through", "code"),
    [
        ("shelf", {}, "2016-12-31", "SHELF_LIMIT"),
        ("bench", {}, "2016-12-31", "SHELF_LIMIT"),
        ("lab", {}, "2016-12-31", "SHELF_LIMIT"),
        ("truck", {}, "2016-06-30", "OUT_OF_DATE"),
        ("crew", {}, "2016-06-30", "OUT_OF_DATE"),
        ("contractor", {}, "2016-06-30", "OUT_OF_DATE"),
        ("truck", {"received_on": ""}, "2016-06-30", "OUT_OF_DATE"),
        ("shelf", {"first_issued_on": "2016-02-01"}, "2016-07-31", "OUT_OF_DATE"),
        ("shelf", {"marked_expiry_on": "2016-05-01"}, "2016-05-01", "OUT_OF_DATE"),
    ],
)
def test_only_gear_that_nobody_was_given_has_the_shelf_allowance(bring, kind, cells, good_through, code):
    stated = {"holder": "Somebody", "holder_kind": kind, **cells}
    bring(
        [row | stated for row in pair("")],
        [proof_test(hand, "2016-01-01") for hand in "LR"],
    )
    assert answers("L", as_of=good_through)["L"]["verdict"] == "good"
    later = answers("L", as_of="2017-01-01")["L"]
    assert later["good_through"] == good_through
    assert code in codes_of(later)


# One item's tests


@pytest.mark.parametrize(
    ("tests", "verdict", "codes"),
    [
        ([], "stop", {"NEVER_TESTED"}),
        ([{}], "good", set()),
        ([{"applied_v": "19999"}], "stop", {"NEVER_TESTED"}),
        ([{}, {"seconds": "1", "purpose": "in_service"}], "good", set()),
        ([{}, {"breakdown": "yes"}], "stop", {"FAILED_TEST"}),
        ([{"breakdown": "yes"}, {}], "stop", {"FAILED_TEST"}),
        ([{}, {"visual": "reject", "applied_v": ""}, {"purpose": "after_repair"}], "stop", {"FAILED_TEST"}),
        ([{}, {"visual": "test"}], "stop", {"NEEDS_TEST"}),
        ([{}, {"visual": "test"}, {}], "good", set()),
        ([{}, {"visual": "clean"}], "stop", {"NEEDS_CLEANING"}),
        ([{}, {"visual": "clean"}, {}], "good", set()),
        ([{}, {"visual": "clean"}, {"flashover": "yes"}], "stop", {"NEEDS_CLEANING"}),
    ],
)
def test_the_tests_of_a_blanket_in_the_order_of_their_days(bring, tests, verdict, codes):
    rows = [proof_test("B-1", f"2026-0{month}-01") | cells for month, cells in enumerate(tests, start=1)]
    bring([blanket()], rows[::-1])
    answer = answers("B-1", as_of="2026-09-14")["B-1"]
    assert (answer["verdict"], codes_of(answer)) == (verdict, codes)


@pytest.mark.parametrize("worse", [{"breakdown": "yes"}, {"visual": "test"}, {"visual": "clean"}])
@pytest.mark.parametrize("way", [1, -1])
def test_on_one_day_the_worse_test_stands(bring, worse, way):
    rows = [proof_test("B-1", "2026-02-01"), proof_test("B-1", "2026-02-01", **worse)]
    bring([blanket()], rows[::way])
    assert answers("B-1", as_of="2026-02-01")["B-1"]["verdict"] == "stop"


def test_a_protector_needs_an_accepted_look_and_no_electrical_test(bring):
    bring([blanket("X-1", kind="protector", **{"class": ""})])
    assert answers("X-1", as_of="2026-09-14")["X-1"]["verdict"] == "stop"
    bring(tests=[{"item_no": "X-1", "tested_on": "2026-08-01", "purpose": "in_service", "visual": "accept"}])
    answer = answers("X-1", as_of="2026-09-14")["X-1"]
    assert (answer["verdict"], answer["good_through"]) == ("good", None)


# Pairs and sets


@pytest.mark.parametrize(
    ("right", "verdict"),
    [
        ({}, "good"),
        ({"hand": "L"}, "stop"),
        ({"set_no": ""}, "stop"),
        ({"set_no": "P-2"}, "stop"),
        ({"condition": "lost"}, "stop"),
        ({"received_on": "2026-10-01"}, "stop"),
    ],
)
def test_a_glove_is_good_only_beside_its_opposite_hand(bring, monday, right, verdict):
    monday.move_to(datetime(2026, 11, 2, 12, tzinfo=UTC))
    gloves = pair("")
    gloves[1] |= right
    bring(gloves, [proof_test(hand, "2026-09-01") for hand in "LR"])
    as_of = "2026-09-14" if "received_on" in right else "2026-11-02"
    assert answers("L", as_of=as_of)["L"]["verdict"] == verdict


@pytest.mark.parametrize("trouble", ["failed", "untested", "overdue", "held"])
def test_a_mate_that_may_not_be_used_stops_the_other(bring, trouble):
    gloves = pair("", condition="")
    gloves[1]["condition"] = "held" if trouble == "held" else ""
    tests = {
        "failed": [proof_test("R", "2026-08-01", breakdown="yes")],
        "overdue": [proof_test("R", "2026-03-01")],
    }
    bring(
        gloves,
        [
            proof_test("L", "2026-08-01"),
            *tests.get(trouble, [] if trouble == "untested" else [proof_test("R", "2026-08-01")]),
        ],
    )
    answer = answers("L", as_of="2026-09-14")["L"]
    assert (answer["verdict"], codes_of(answer)) == ("stop", {"SET_NOT_COMPLETE"})
    assert answer["good_through"] == "2027-01-31", "the item's own date"


@pytest.mark.parametrize(
    ("third", "verdict"),
    [({}, "good"), ({"resistance_mohm": "9"}, "stop"), ({"cable_temp_c": ""}, "stop"), (None, "stop")],
)
def test_a_grounding_set_is_as_good_as_its_worst_jumper(bring, third, verdict):
    rows = [read_out(number, "2026-08-01") for number in ("J-1", "J-2")]
    bring(
        jumpers("J-1", "J-2", "J-3"),
        rows + ([] if third is None else [read_out("J-3", "2026-08-01", **third)]),
    )
    assert {one["verdict"] for one in answers("J-1", "J-2", as_of="2026-09-14").values()} == {verdict}


def test_a_jumper_whose_limit_has_no_figure_makes_its_set_unknown(bring):
    gear = jumpers("J-1", "J-2")
    gear[1]["cable_size"] = "350 kcmil"
    bring(gear, [read_out(number, "2026-08-01") for number in ("J-1", "J-2")])
    assert {one["verdict"] for one in answers("J-1", "J-2", as_of="2026-09-14").values()} == {"unknown"}


# The report


@pytest.mark.parametrize(
    ("as_of", "where", "days"),
    [
        ("2026-12-07", None, None),
        ("2026-12-08", "due_soon", 28),
        ("2027-01-05", "due_soon", 0),
        ("2027-01-06", "usable_now", 1),
    ],
)
def test_an_item_is_due_soon_for_28_days_and_overdue_from_the_day_after_its_last(bring, as_of, where, days):
    bring([blanket()], [proof_test("B-1", "2026-01-06")])
    made = report(as_of)
    lists = ("usable_now", "off_the_road", "due_soon")
    assert [name for name in lists if made[name]] == ([where] if where else [])
    if where:
        assert made[where][0]["days_left" if where == "due_soon" else "days_over"] == days


@pytest.mark.parametrize(
    ("kind", "condition", "where"),
    [
        ("person", "destroyed", "usable_now"),
        ("shelf", "destroyed", None),
        ("shelf", "lost", "off_the_road"),
        ("contractor", "lost", "usable_now"),
    ],
)
def test_where_it_is_decides_on_which_list_it_stands(bring, kind, condition, where):
    bring([blanket(holder_kind=kind, condition=condition)], [proof_test("B-1", "2026-01-06")])
    made = report("2026-09-14")
    assert [name for name in ("usable_now", "off_the_road", "due_soon") if made[name]] == (
        [where] if where else []
    )
    assert made["totals"][condition] == made["totals"]["items_in_book"] == 1


# Two times


def test_what_was_told_between_two_imports_stays_what_was_told(bring, monday):
    bring([blanket()], [proof_test("B-1", "2026-01-05")])
    monday.shift(86400)
    between = "2026-09-14T20:00:00Z"
    bring(tests=[proof_test("B-1", "2026-06-01", breakdown="yes")])
    asked = {"as_of": "2026-09-15"}
    assert answers("B-1", **asked)["B-1"]["verdict"] == "stop"
    assert answers("B-1", **asked, known_at=between)["B-1"]["verdict"] == "good"
    assert answers("B-1", as_of="2026-05-31")["B-1"]["verdict"] == "good"
    assert answers("B-1", as_of="2026-06-01")["B-1"]["verdict"] == "stop", "the whole of that day counts"
    before = answers("B-1", **asked, known_at="2026-09-13T00:00:00Z")["B-1"]
    assert (before["verdict"], codes_of(before)) == ("unknown", {"NOT_IN_BOOK"})


def test_a_day_ends_at_the_site_and_a_moment_is_what_it_says(bring, monday):
    bring([blanket(condition="held")], [proof_test("B-1", "2026-01-05")])
    assert answers("B-1", as_of="2026-09-13")["B-1"]["verdict"] == "good"
    assert answers("B-1", as_of="2026-09-14")["B-1"]["verdict"] == "stop"
    assert answers("B-1", as_of="2026-09-14T05:39:00-04:00")["B-1"]["verdict"] == "good"
    assert answers("B-1", as_of="2026-09-14T05:41:00-04:00")["B-1"]["verdict"] == "stop"
    last = {"2027-01-05T04:59:59Z": False, "2027-01-05T05:00:00Z": True}
    assert {moment: "OUT_OF_DATE" in codes_of(answers("B-1", as_of=moment)["B-1"]) for moment in last} == last
