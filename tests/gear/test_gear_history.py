"""A row of a gear book is history: receipt, shelf, first issue, condition, and the sets that rows form."""

from datetime import date, timedelta

import pytest

from gear import queries
from gear.ledger import verify
from gear.models import (
    Entry,
    GearSet,
    Holder,
    Item,
    ItemState,
    ItemType,
)
from tests import builders
from tests.books import gear_book
from tests.bringing import imported, refused

pytestmark = pytest.mark.django_db
RECEIVED, ISSUED = "2026-01-05", "2026-02-01"
PAIR = [
    {"item_no": "G-1", "hand": "L", "set_no": "P-1"},
    {"item_no": "G-2", "hand": "R", "set_no": "P-1"},
]


def entries_of(item_no: str) -> list[tuple]:
    found = Entry.objects.filter(item__item_no=item_no).order_by("position")
    return [(one.kind, one.occurred_on.isoformat() if one.precision == "day" else "moment") for one in found]


def state(item_no: str) -> ItemState:
    return ItemState.objects.select_related("holder", "gear_set").get(item__item_no=item_no)


# DESIGN 13: a row is history. `moment` stands for the moment of import.
@pytest.mark.parametrize(
    ("columns", "entries", "first_issued_on", "first_issue_known"),
    [
        # every date stated
        (
            {"received_on": RECEIVED, "first_issued_on": ISSUED},
            [("received", RECEIVED), ("labelled", "moment"), ("issued", ISSUED)],
            ISSUED,
            True,
        ),
        # made_on stands in for the day of receipt
        (
            {"received_on": "", "made_on": "2025-11-11", "first_issued_on": ISSUED},
            [("received", "2025-11-11"), ("labelled", "moment"), ("issued", ISSUED)],
            ISSUED,
            True,
        ),
        # neither: the moment of import, but never later than the first issue
        (
            {"received_on": "", "first_issued_on": ISSUED},
            [("received", ISSUED), ("labelled", "moment"), ("issued", ISSUED)],
            ISSUED,
            True,
        ),
        # in somebody's hands since nobody knows when: with the holder from receipt
        (
            {"received_on": RECEIVED, "first_issued_on": ""},
            [("received", RECEIVED), ("labelled", "moment"), ("issued", RECEIVED)],
            RECEIVED,
            False,
        ),
        (
            {"received_on": "", "first_issued_on": ""},
            [("received", "moment"), ("labelled", "moment"), ("issued", "moment")],
            "today",
            False,
        ),
        # on a shelf, at a bench, at a lab: never issued
        (
            {"received_on": RECEIVED, "first_issued_on": "", "holder": "Rack 1", "holder_kind": "shelf"},
            [("received", RECEIVED), ("labelled", "moment")],
            None,
            True,
        ),
        (
            {"received_on": RECEIVED, "first_issued_on": "", "holder": "Bay lab", "holder_kind": "lab"},
            [("received", RECEIVED), ("labelled", "moment")],
            None,
            True,
        ),
        # issued once, on a shelf again now: it stays issued
        (
            {"received_on": RECEIVED, "first_issued_on": ISSUED, "holder": "Rack 1", "holder_kind": "shelf"},
            [("received", RECEIVED), ("labelled", "moment"), ("issued", ISSUED)],
            ISSUED,
            True,
        ),
        # trucks, crew cages and contractors are hands too
        (
            {"received_on": RECEIVED, "first_issued_on": "", "holder": "T-3", "holder_kind": "truck"},
            [("received", RECEIVED), ("labelled", "moment"), ("issued", RECEIVED)],
            RECEIVED,
            False,
        ),
    ],
)
def test_a_row_becomes_history(tmp_path, columns, entries, first_issued_on, first_issue_known):
    imported(
        "gear", gear_book(tmp_path, {"item_no": "B-1", "kind": "blanket", "hand": "", **columns}), "--commit"
    )
    assert entries_of("B-1") == entries
    now = state("B-1")
    expected = builders.today().isoformat() if first_issued_on == "today" else first_issued_on
    assert (now.first_issued_on and now.first_issued_on.isoformat()) == expected
    assert now.facts.get("first_issue_known", True) is first_issue_known
    assert now.facts.get("issued", False) is (first_issued_on is not None)
    holder = columns.get("holder", "Dev")
    assert now.holder.name == holder
    received = Entry.objects.get(kind="received")
    stated = bool(columns["received_on"] or columns.get("made_on"))
    assert received.facts.get("date_stated", True) is stated


def test_before_first_issue_it_lay_in_the_tool_room_of_its_depot(tmp_path):
    imported("gear", gear_book(tmp_path, {"item_no": "B-1", "kind": "blanket", "hand": ""}), "--commit")
    received = Entry.objects.get(kind="received").facts["holder"]
    assert received == {
        "kind": "shelf",
        "name": "Tool room, Harbour depot",
        "crew": None,
        "depot": "Harbour depot",
    }
    assert Holder.objects.get(kind="shelf").depot.name == "Harbour depot"
    before = queries.question(date(2026, 1, 31))
    (_answer, facts) = next(iter(queries.fleet(before)))
    assert facts.holder["kind"] == "shelf"


@pytest.mark.parametrize(
    ("condition", "reason"),
    [
        ("held", "HELD"),
        ("rejected", "REJECTED"),
        ("destroyed", "DESTROYED"),
        ("lost", "LOST"),
        ("needs_cleaning", "NEEDS_CLEANING"),
        ("out_for_test", "OUT_FOR_TEST"),
        ("out_for_repair", "OUT_FOR_REPAIR"),
    ],
)
def test_a_side_condition_counts_from_the_moment_of_import(tmp_path, condition, reason):
    row = {"item_no": "B-1", "kind": "blanket", "hand": "", "condition": condition}
    imported("gear", gear_book(tmp_path, row), "--commit")
    assert state("B-1").condition == condition
    builders.tested(Item.objects.get(), on=date(2026, 6, 1))
    reasons = [one.code for one in queries.answer("B-1", queries.question()).reasons]
    assert reason in reasons
    yesterday = builders.today() - timedelta(days=1)
    assert reason not in [one.code for one in queries.answer("B-1", queries.question(yesterday)).reasons]


def test_an_empty_condition_is_ok(tmp_path):
    imported(
        "gear",
        gear_book(tmp_path, {"item_no": "B-1", "kind": "blanket", "hand": "", "condition": "ok"}),
        "--commit",
    )
    assert state("B-1").condition == "ok"


# OSHA letters as in JOB 4.6, through the file
@pytest.mark.parametrize(
    ("first_issued_on", "holder_kind", "good_through", "clock"),
    [
        ("2025-10-01", "person", "2025-12-31", "last_test+12"),
        ("2025-02-01", "person", "2025-07-31", "first_issue+6"),
        ("", "shelf", "2025-12-31", "last_test+12"),
        (
            "",
            "person",
            "2025-06-30",
            "last_test+6",
        ),  # in hand, first issue unknown: never the shelf allowance
        ("2025-10-01", "shelf", "2025-12-31", "last_test+12"),
    ],
)
def test_the_clocks_run_on_imported_dates(tmp_path, first_issued_on, holder_kind, good_through, clock):
    common = {
        "received_on": "2024-12-01",
        "first_issued_on": first_issued_on,
        "holder": "Somebody",
        "holder_kind": holder_kind,
    }
    imported("gear", gear_book(tmp_path, *({**row, **common} for row in PAIR)), "--commit")
    builders.tested(*Item.objects.all(), on=date(2025, 1, 1))
    answer = queries.answer("G-1", queries.question(date(2025, 3, 1)))
    assert (answer.good_through.isoformat(), answer.winning_clock) == (good_through, clock)


# Types, serials, places


def test_a_type_is_found_by_all_its_shared_values_together(tmp_path):
    rows = [
        {"item_no": "G-1", "maker": "Northway", "model": "Grip"},
        {"item_no": "G-2", "maker": "Northway", "model": "Grip", "hand": "R"},
        {"item_no": "G-3", "maker": "Northway", "model": "Grip", "size": "11"},
        {"item_no": "G-4", "maker": "Otherway", "model": "Grip"},
    ]
    imported("gear", gear_book(tmp_path, *rows), "--commit")
    types = [item.item_type_id for item in Item.objects.order_by("item_no")]
    assert types[0] == types[1]
    assert len(set(types)) == 3


def test_equal_numbers_make_one_type(tmp_path):
    rows = [
        {"item_no": f"J-{number}", "kind": "grounding_jumper", "cls": "", "hand": "", "size": "",
         "length_mm": "", "cable_size": "2/0", "cable_length_m": length}
        for number, length in enumerate(("3", "3.0", "3.000"))
    ]  # fmt: skip
    imported("gear", gear_book(tmp_path, *rows), "--commit")
    assert ItemType.objects.count() == 1
    identities = [one.facts["identity"]["cable_length_m"] for one in Entry.objects.filter(kind="received")]
    assert identities == ["3"] * 3


def test_a_serial_is_unique_for_its_maker_and_hand(tmp_path):
    first = {"item_no": "G-1", "maker": "Northway", "serial": "77", "hand": "L"}
    imported("gear", gear_book(tmp_path, first), "--commit")
    rows = [
        {"item_no": "G-2", "maker": "Northway", "serial": "77", "hand": "R"},
        {"item_no": "G-3", "maker": "Otherway", "serial": "77", "hand": "L"},
        {"item_no": "G-4", "maker": "Northway", "serial": "77", "hand": "L"},
    ]
    told = refused("gear", gear_book(tmp_path, *rows))
    assert [line.split(":")[0] for line in told.splitlines() if " refused: " in line] == ["line 4"]
    assert "belongs to G-1 already" in told


def test_a_holder_that_stands_with_another_crew_is_noted_and_kept_as_stated(tmp_path):
    rows = [
        {
            "item_no": "B-1",
            "kind": "blanket",
            "hand": "",
            "holder": "T-3",
            "holder_kind": "truck",
            "crew": "Crew 7",
        },
        {
            "item_no": "B-2",
            "kind": "blanket",
            "hand": "",
            "holder": "T-3",
            "holder_kind": "truck",
            "crew": "Crew 9",
        },
    ]
    told = imported("gear", gear_book(tmp_path, *rows), "--commit")
    assert "line 3: B-2 new: crew Crew 9: this holder stands with Crew 7" in told
    assert Holder.objects.get(name="T-3").crew.name == "Crew 7"
    assert state("B-2").facts["holder"]["crew"] == "Crew 9"


def test_known_places_are_used_and_not_changed(tmp_path, cast):
    builders.holder("person", "Dev")
    told = imported("gear", gear_book(tmp_path, *PAIR), "--commit")
    assert "depots made" not in told
    assert "crews made" not in told
    assert "holders made, 1: shelf Tool room, Harbour depot" in told
    assert Holder.objects.filter(name="Dev").count() == 1


# Sets


def jumper(number: int, **columns) -> dict:
    bare = {"cls": "", "hand": "", "size": "", "length_mm": "", "kind": "grounding_jumper"}
    cable = {"cable_size": "2/0", "cable_length_m": "3", "holder": "Rack", "holder_kind": "shelf"}
    return {**bare, **cable, "item_no": f"J-{number}", "set_no": "S-1", "first_issued_on": "", **columns}


@pytest.mark.parametrize(
    ("rows", "kind", "required"),
    [
        (PAIR, "pair", 2),
        (PAIR[:1], "pair", 2),
        ([jumper(1), jumper(2), jumper(3)], "grounding", 3),
        ([{"item_no": "H-1", "kind": "hood", "hand": "", "set_no": "K-1"}], "kit", 1),
    ],
)
def test_what_makes_a_set_complete(tmp_path, rows, kind, required):
    imported("gear", gear_book(tmp_path, *rows), "--commit")
    made = GearSet.objects.get()
    assert (made.kind, made.required) == (kind, required)
    formed = Entry.objects.get(kind="set_formed")
    assert formed.facts["required"] == required
    assert formed.occurred_on == date(2026, 1, 5)
    assert verify.verify() == []


@pytest.mark.parametrize("later", ["2026-01-05", "2026-03-03", "2025-12-01", ""])
def test_jumpers_that_come_later_enlarge_their_set(tmp_path, later):
    imported("gear", gear_book(tmp_path, jumper(1), jumper(2)), "--commit")
    imported("gear", gear_book(tmp_path, jumper(3, received_on=later)), "--commit")
    assert GearSet.objects.get().required == 3
    assert state("J-3").gear_set.set_no == "S-1"
    assert verify.verify() == []
    builders.happened(Item.objects.get(item_no="J-2"), "left_set", set_no="S-1")
    reasons = queries.answer("J-1", queries.question()).reasons
    assert [reason.values.get("cause") for reason in reasons if reason.code == "SET_NOT_COMPLETE"][
        0
    ] == "count"


def test_a_set_that_came_today_can_still_grow_today(tmp_path):
    today = builders.today().isoformat()
    imported("gear", gear_book(tmp_path, jumper(1, received_on=today)), "--commit")
    imported("gear", gear_book(tmp_path, jumper(2, received_on=today)), "--commit")
    assert GearSet.objects.get().required == 2
    assert verify.verify() == []


def test_a_replacement_does_not_enlarge_a_set_that_is_one_short(tmp_path):
    imported("gear", gear_book(tmp_path, jumper(1), jumper(2)), "--commit")
    builders.happened(Item.objects.get(item_no="J-2"), "left_set", set_no="S-1")
    imported("gear", gear_book(tmp_path, jumper(3)), "--commit")
    assert GearSet.objects.get().required == 2


def test_a_set_of_mixed_kinds_is_refused_in_the_file_and_against_the_book(tmp_path):
    glove, hood = (
        {**PAIR[0], "set_no": "S-1"},
        {"item_no": "H-1", "kind": "hood", "hand": "", "set_no": "S-1"},
    )
    assert "line 3: H-1 refused: set_no S-1" in refused("gear", gear_book(tmp_path, glove, hood))
    imported("gear", gear_book(tmp_path, jumper(1)), "--commit")
    assert "refused: set_no S-1" in refused("gear", gear_book(tmp_path, glove))


def test_a_pair_that_is_none_comes_in_and_the_answer_blocks(tmp_path):
    imported("gear", gear_book(tmp_path, PAIR[0], {**PAIR[1], "hand": "L"}), "--commit")
    builders.tested(*Item.objects.all(), on=date(2026, 1, 6))
    answer = queries.answer("G-1", queries.question(date(2026, 1, 7)))
    assert answer.verdict == "stop"
    assert [reason.code for reason in answer.reasons] == ["SET_NOT_COMPLETE"]


def test_the_pair_is_mated_on_the_day_of_receipt(tmp_path):
    imported("gear", gear_book(tmp_path, *PAIR), "--commit")
    assert ("joined_set", RECEIVED) in entries_of("G-1")
    builders.tested(*Item.objects.all(), on=date(2026, 1, 5))
    assert queries.answer("G-1", queries.question(date(2026, 1, 5))).verdict == "good"
