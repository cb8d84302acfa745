"""What falls due in the coming weeks: each piece once, in the week of its last good day, against what is taken."""

from collections import Counter
from datetime import date, timedelta
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gear.rules.blocks import BLOCKS, OVERRIDING, Reason
from gear.rules.clocks import Clock
from gear.rules.entries import CONDITIONS
from gear.rules.fold import Happening, ItemFacts
from gear.rules.readiness import Answer
from reports.rules.planning import (
    GONE,
    WAITING_CODES,
    Capacity,
    Fit,
    fit,
    load,
    plan,
    room_in,
    weeks_from,
)

WEDNESDAY = date(2026, 9, 16)
MONDAY = date(2026, 9, 14)
WEEK = timedelta(days=7)


def judged(item_no, *codes, due=None, kind="glove", at="person", clock="last_test+6", **facts):
    clocks = (Clock(due, clock, "Table I-5"),) if due else ()
    reasons = tuple(Reason(code, "a source") for code in codes)
    answer = Answer(item_no, kind, "2", "stop" if codes else "good", WEDNESDAY, due, clocks, reasons)
    holder = {"kind": at, "name": "Dev", "crew": "Crew 7", "depot": "Harbour depot"}
    return answer, ItemFacts(item_no, identity={"kind": kind}, holder=holder, **facts)


def happened(word):
    return Happening(word, MONDAY, "an entry")


def due_list(*items, weeks=4):
    return load(items, as_of=WEDNESDAY, weeks=weeks)


# Which week


@pytest.mark.parametrize(
    ("due", "week"),
    [
        (date(2026, 9, 16), MONDAY),  # today is its last good day
        (date(2026, 9, 20), MONDAY),  # Sunday
        (date(2026, 9, 21), MONDAY + WEEK),  # Monday
        (date(2026, 10, 11), MONDAY + 3 * WEEK),  # the last day of four weeks
    ],
)
def test_a_piece_counts_in_the_week_of_its_last_good_day(due, week):
    found = due_list(judged("G-1", due=due))
    assert {monday: found.of_week(monday)["glove"] for monday in found.weeks if found.of_week(monday)} == {
        week: 1
    }
    assert found.waiting == Counter()


def test_the_first_day_after_the_last_week_is_later():
    assert due_list(judged("G-1", due=date(2026, 10, 12))).not_listed == {"later": 1}


def test_weeks_of_a_year_that_ends_on_a_thursday_go_on_as_iso_counts_them():
    weeks = weeks_from(date(2026, 12, 30), 4)
    assert [week.isocalendar()[:2] for week in weeks] == [(2026, 53), (2027, 1), (2027, 2), (2027, 3)]


@pytest.mark.parametrize("count", [3, 14, 0])
def test_fewer_than_4_and_more_than_13_weeks_are_not_looked_ahead(count):
    with pytest.raises(ValueError, match="4 to 13"):
        weeks_from(WEDNESDAY, count)


# What waits already, and what is on no list


@pytest.mark.parametrize("code", sorted(WAITING_CODES))
def test_what_needs_a_test_now_is_due_already_whatever_its_date(code):
    found = due_list(judged("G-1", code, due=date(2026, 9, 30)))
    assert (found.waiting["glove"], found.of_week(date(2026, 9, 28))) == (1, Counter())


def test_what_is_set_aside_for_test_waits_until_it_is_with_the_lab():
    aside = {"due": date(2027, 1, 1), "out_for_test": happened("out_for_test")}
    assert due_list(judged("G-1", "OUT_FOR_TEST", at="shelf", **aside)).waiting["glove"] == 1
    assert due_list(judged("G-1", "OUT_FOR_TEST", at="bench", **aside)).waiting["glove"] == 1
    assert due_list(judged("G-1", "OUT_FOR_TEST", at="lab", **aside)).not_listed == {"away": 1}


@pytest.mark.parametrize(
    ("item", "word"),
    [
        (judged("G-1", "REJECTED", due=MONDAY, rejected=happened("rejected")), "gone"),
        (judged("G-1", "FAILED_TEST", due=MONDAY, failed=happened("too much")), "gone"),
        (judged("G-1", "DESTROYED", destroyed=happened("destroyed")), "gone"),
        (judged("G-1", "LOST", due=MONDAY, lost=happened("lost")), "gone"),
        (judged("H-1", kind="line_hose"), "undated"),
        (judged("G-1", "CHAIN_BROKEN", due=date(2026, 9, 20)), "unreadable"),
        (judged("G-1", due=date(2026, 9, 20), unreadable=["an entry"]), "unreadable"),
    ],
)
def test_what_is_no_load_is_counted_under_its_word(item, word):
    found = due_list(item)
    assert (found.due, found.not_listed, found.pieces) == ((), {word: 1}, 1)


def test_a_held_piece_still_falls_due_and_a_marked_date_is_told():
    held = judged("G-1", "HELD", due=date(2026, 9, 20), holds=[happened("held")])
    marked = judged("G-2", due=date(2026, 9, 20), clock="marked_expiry")
    assert [(one.item_no, one.marked) for one in due_list(held, marked).due] == [
        ("G-1", False),
        ("G-2", True),
    ]


def test_visitors_gear_is_counted_nowhere():
    assert due_list(judged("V-1", "OUT_OF_DATE", due=MONDAY, owner="Harrow Bay")).pieces == 0


KNOWN = sorted({*WAITING_CODES, *OVERRIDING, "HELD", "SET_NOT_COMPLETE", "DUE_SOON"})


@given(
    st.lists(
        st.tuples(
            st.lists(st.sampled_from(KNOWN), max_size=2),
            st.none() | st.dates(date(2026, 6, 1), date(2027, 3, 1)),
            st.sampled_from(["glove", "blanket", "line_hose"]),
            st.sampled_from(["person", "shelf", "bench", "lab"]),
        ),
        max_size=30,
    ),
    st.integers(4, 13),
)
def test_every_piece_counts_once_and_all_of_them_add_up(items, weeks):
    told = [
        judged(f"G-{number}", *codes, due=due, kind=kind, at=at)
        for number, (codes, due, kind, at) in enumerate(items)
    ]
    found = due_list(*told, weeks=weeks)
    of_weeks = sum((found.of_week(monday) for monday in found.weeks), Counter())
    # An overdue piece answers OUT_OF_DATE; one that does not is past its date and in none of the weeks.
    past = sum(not one.waits and one.on < found.weeks[0] for one in found.due)
    assert found.pieces == len(items)
    assert sum(found.waiting.values()) + sum(of_weeks.values()) + past == len(found.due)


def test_the_words_are_those_of_the_decision():
    assert set(BLOCKS) >= WAITING_CODES
    assert set(CONDITIONS) >= GONE


# What bench and labs take


def rows(*stated):
    return [
        Capacity(number, place, kind, pieces, MONDAY + WEEK * first, None if last is None else MONDAY + WEEK * last)
        for number, (place, kind, pieces, first, last) in enumerate(stated)
    ]  # fmt: skip


def test_the_row_that_begins_last_counts_and_of_two_for_one_week_the_newest():
    stated = rows(("Bench", "", 40, 0, None), ("Bench", "", 60, 2, None), ("Bench", "", 55, 2, None))
    assert [room_in(stated, MONDAY + WEEK * week) for week in range(4)] == [
        {"Bench": {"": 40}},
        {"Bench": {"": 40}},
        {"Bench": {"": 55}},
        {"Bench": {"": 55}},
    ]


def test_a_closed_week_stays_closed_when_the_usual_figure_is_stated_later():
    stated = rows(("Bench", "", 0, 1, 1), ("Bench", "", 80, 0, None))
    assert [room_in(stated, MONDAY + WEEK * week)["Bench"][""] for week in range(3)] == [80, 0, 80]


def test_before_the_first_row_nothing_is_stated_and_nothing_is_too_many():
    week, *_later = plan(due_list(judged("G-1", due=WEDNESDAY)), rows(("Bench", "", 40, 2, None)))
    assert (week.count, week.capacity, week.fit, week.over) == (1, None, None, 0)


@pytest.mark.parametrize(
    ("wanted", "room", "expected"),
    [
        # a ceiling over everything
        ({"glove": 50, "blanket": 10}, {"Bench": {"": 60}}, Fit(60, 0)),
        ({"glove": 50, "blanket": 11}, {"Bench": {"": 60}}, Fit(60, 1, ("blanket", "glove"))),
        # a ceiling and a line for a kind inside it
        ({"glove": 50, "blanket": 12}, {"Bench": {"": 60, "blanket": 10}}, Fit(60, 2, ("blanket",))),
        ({"glove": 55, "blanket": 12}, {"Bench": {"": 60, "blanket": 10}}, Fit(60, 7, ("blanket", "glove"))),
        # a lab that states kinds alone takes no other
        ({"glove": 5, "grounding_jumper": 1}, {"The lab": {"glove": 40}}, Fit(5, 1, ("grounding_jumper",))),
        # two places share a kind
        ({"glove": 70, "blanket": 20}, {"Bench": {"glove": 60}, "The lab": {"": 30}}, Fit(90, 0)),
        # closed
        ({"glove": 3}, {"Bench": {"": 0, "glove": 40}}, Fit(0, 3, ("glove",))),
        ({}, {"Bench": {"": 10}}, Fit(0, 0)),
    ],
)
def test_what_does_not_fit_and_for_which_kinds(wanted, room, expected):
    assert fit(wanted, room) == expected


small = st.dictionaries(st.sampled_from(["glove", "sleeve"]), st.integers(0, 4), max_size=2)
room = st.dictionaries(
    st.sampled_from(["Bench", "The lab"]),
    st.dictionaries(st.sampled_from(["", "glove", "sleeve"]), st.integers(0, 5), min_size=1),
    max_size=2,
)


@given(small, room)
def test_no_way_of_sharing_the_work_does_more(wanted, stated):
    """Against every way of giving pieces of each kind to each place."""
    kinds, places = sorted(wanted), sorted(stated)
    most = 0
    for given_to in product(*(range(wanted[kind] + 1) for kind in kinds for _place in places)):
        shares = dict(zip([(kind, place) for kind in kinds for place in places], given_to, strict=True))
        fits_kinds = all(sum(shares[kind, place] for place in places) <= wanted[kind] for kind in kinds)
        if fits_kinds and all(
            _takes(stated[place], {k: shares[k, place] for k in kinds}) for place in places
        ):
            most = max(most, sum(given_to))
    assert fit(wanted, stated).done == most


def _takes(stated, share):
    ceiling = stated.get("")
    if ceiling is not None and sum(share.values()) > ceiling:
        return False
    return all(count <= stated.get(kind, ceiling or 0) for kind, count in share.items())


def test_the_weeks_of_the_worked_case_against_capacity_8():
    """Due 2, 3, 20, 4, 1, 10 in six weeks: the third is 12 too many, the sixth 2."""
    counts = [2, 3, 20, 4, 1, 10]
    items = [
        judged(f"G-{week}-{number}", due=MONDAY + WEEK * week + timedelta(days=4))
        for week, count in enumerate(counts)
        for number in range(count)
    ]
    weeks = plan(due_list(*items, weeks=6), rows(("Bench", "", 8, 0, None)))
    assert [(week.count, week.capacity, week.over) for week in weeks] == [
        (2, 8, 0), (3, 8, 0), (20, 8, 12), (4, 8, 0), (1, 8, 0), (10, 8, 2),
    ]  # fmt: skip
