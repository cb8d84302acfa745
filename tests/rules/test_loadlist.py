"""What a truck should carry, what of it is aboard, and what a walk comes to: by hand and by trying every choice."""

import itertools
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gear.rules.readiness import GOOD, STOP, UNKNOWN
from inspections.rules import loadlist
from inspections.rules.loadlist import EXTRA, NO_CODE, NOT_SEEN, SEEN, WRONG_TRUCK, Aboard, Found, Line

BACK = date(2026, 9, 20)
NEXT_DAY = BACK + timedelta(days=1)


def piece(item_no, kind="blanket", **marked):
    set_no, members = marked.pop("set_no", None), marked.pop("members", frozenset({item_no}))
    identity = {
        "kind": kind,
        **{("class" if name == "cls" else name): value for name, value in marked.items()},
    }
    return Aboard(item_no, identity, set_no, members)


def pair(set_no, left="L", right="R", **marked):
    members = frozenset({f"{set_no}-1", f"{set_no}-2"})
    shared = {"kind": "glove", "cls": "2", "set_no": set_no, "members": members, **marked}
    return [piece(f"{set_no}-1", hand=left, **shared), piece(f"{set_no}-2", hand=right, **shared)]


def jumpers(set_no, count, of=3, **marked):
    members = frozenset(f"{set_no}-{number}" for number in range(of))
    shared = {"kind": "grounding_jumper", "cable_size": "2/0", "set_no": set_no, "members": members, **marked}
    return [piece(f"{set_no}-{number}", **shared) for number in range(count)]


def aboard(lines, pieces):
    return [cover.aboard for cover in loadlist.covered(lines, pieces)]


# One line
@pytest.mark.parametrize(
    ("line", "marked", "takes"),
    [
        # the least class: the next higher serves, the next lower and one that is not marked do not
        (Line("blanket", 1, "2"), {"class": "2"}, True),
        (Line("blanket", 1, "2"), {"class": "3"}, True),
        (Line("blanket", 1, "2"), {"class": "1"}, False),
        (Line("blanket", 1, "0"), {"class": "00"}, False),
        (Line("blanket", 1, "2"), {"class": None}, False),
        (Line("blanket", 1), {"class": None}, True),
        (Line("rigid_cover", 1, "4"), {"class": "6"}, True),
        # the least cable size, by the order of the sizes and not of their names
        (Line("grounding_jumper", 1, "1/0"), {"cable_size": "2/0"}, True),
        (Line("grounding_jumper", 1, "1/0"), {"cable_size": "#2"}, False),
        (Line("grounding_jumper", 1, "4/0"), {"cable_size": "250 kcmil"}, True),
        # the same size, at least the length
        (Line("blanket", 1, size="36 x 36 in"), {"size": "36 X 36 IN"}, True),
        (Line("blanket", 1, size="36 x 36 in"), {"size": "22 x 22 in"}, False),
        (Line("blanket", 1, size="36 x 36 in"), {}, False),
        (Line("line_hose", 1, length_mm=914), {"length_mm": 914}, True),
        (Line("line_hose", 1, length_mm=914), {"length_mm": 913}, False),
        (Line("line_hose", 1, length_mm=914), {"length_mm": None}, False),
    ],
)
def test_a_line_takes_what_is_marked_as_it_asks(line, marked, takes):
    assert line.takes({"kind": line.kind, **marked}) is takes
    assert not line.takes({**marked, "kind": "hood" if line.kind != "hood" else "blanket"})


def test_gloves_and_sleeves_are_asked_for_in_pairs_jumpers_in_sets_and_the_rest_in_pieces():
    units = [Line(kind, 1).unit for kind in ("glove", "sleeve", "grounding_jumper", "blanket", "protector")]
    assert units == ["pair", "pair", "set", "piece", "piece"]


def test_a_list_is_kept_as_json_and_read_back_the_same():
    assert loadlist.from_json(loadlist.to_json(loadlist.SHIPPED)) == loadlist.SHIPPED
    assert all(not line.least or line.least in loadlist.leasts(line.kind) for line in loadlist.SHIPPED)


# What is aboard
def test_no_piece_fills_two_lines():
    lines = [Line("blanket", 1, "4"), Line("blanket", 2, "2")]
    assert aboard(lines, [piece("B-1", cls="4"), piece("B-2", cls="2")]) == [1, 1]


def test_a_better_piece_is_left_for_the_line_that_needs_it():
    lines = [Line("blanket", 1, "2"), Line("blanket", 1, "4")]
    assert aboard(lines, [piece("B-1", cls="4"), piece("B-2", cls="2")]) == [1, 1]


def test_a_line_is_never_more_than_full():
    assert aboard([Line("blanket", 1, "2")], [piece(f"B-{n}", cls="2") for n in range(3)]) == [1]


def test_a_pair_counts_as_one_and_only_with_both_hands():
    two = [Line("glove", 2, "2")]
    assert aboard(two, pair("P-1") + pair("P-2")) == [2]
    assert aboard(two, pair("P-1") + pair("P-2")[:1]) == [1]
    assert aboard(two, pair("P-1") + pair("P-2", right="L")) == [1]
    assert aboard(
        two, [piece("G-1", "glove", cls="2", hand="L"), piece("G-2", "glove", cls="2", hand="R")]
    ) == [0]


def test_a_grounding_set_counts_as_one_and_only_with_all_its_jumpers():
    one = [Line("grounding_jumper", 1, "#2")]
    assert aboard(one, jumpers("G-1", 3)) == [1]
    assert aboard(one, jumpers("G-1", 2)) == [0]


def tried(fits, wanted):
    """The most that can be filled, by trying every choice of a line for every unit."""
    units = sorted({unit for line in fits for unit in line})
    choices = [[None, *(line for line in range(len(fits)) if unit in fits[line])] for unit in units]
    best = 0
    for choice in itertools.product(*choices):
        best = max(best, sum(min(choice.count(line), wanted[line]) for line in range(len(fits))))
    return best


@given(st.data())
def test_as_many_are_filled_as_trying_every_choice_fills(data):
    units, lines = data.draw(st.integers(0, 6)), data.draw(st.integers(1, 3))
    fits = [
        data.draw(st.lists(st.sampled_from(range(max(units, 1))), unique=True, max_size=units))
        for _ in range(lines)
    ]
    wanted = data.draw(st.lists(st.integers(1, 3), min_size=lines, max_size=lines))
    filled = loadlist.matched(fits, wanted)
    assert sum(filled) == tried(fits, wanted)
    assert all(count <= most for count, most in zip(filled, wanted, strict=True))


# What a walk comes to
def seen(item_no="B-1", verdict=GOOD, through=NEXT_DAY, state=SEEN, taken=False):
    return Found(item_no, state, verdict, through, taken)


def outcome(*found, short=0):
    return loadlist.tally(found, back_on=BACK, short=short).outcome


def test_all_seen_good_through_the_day_of_return_and_nothing_missing_is_good():
    assert outcome(seen(), seen("B-2", through=BACK), seen("C-1", through=None)) == GOOD


@pytest.mark.parametrize(
    ("found", "short"),
    [
        ((), 0),
        ((seen(), seen("B-2", state=NOT_SEEN, verdict="")), 0),
        ((seen(), seen("B-2", state=EXTRA)), 0),
        ((seen(), seen("B-2", state=WRONG_TRUCK)), 0),
        ((seen(),), 1),
    ],
    ids=["nothing expected", "not seen", "extra", "another truck's", "short"],
)
def test_what_is_not_complete_is_never_good_and_speaks_against_no_piece(found, short):
    assert outcome(*found, short=short) == UNKNOWN


@pytest.mark.parametrize(
    "bad",
    [
        seen("B-2", verdict=STOP),
        seen("B-2", verdict=UNKNOWN),
        seen("B-2", through=BACK - timedelta(days=1)),
        seen("B-2", verdict=STOP, state=EXTRA),
        seen("", verdict=UNKNOWN, state=NO_CODE, through=None),
        seen("B-2", verdict=STOP, state=EXTRA, taken=True),
    ],
    ids=[
        "stop",
        "cannot be said",
        "out before the return",
        "a bad extra",
        "no known code",
        "a bad one taken over",
    ],
)
def test_whatever_is_blocked_stops_the_truck_however_complete_it_is(bad):
    assert outcome(seen(), bad) == STOP
    assert outcome(seen(), bad, seen("B-3", state=NOT_SEEN, verdict="")) == STOP


def test_an_extra_piece_that_was_taken_over_belongs_here():
    assert outcome(seen(), seen("B-2", state=EXTRA, taken=True)) == GOOD
    assert seen("B-2", state=EXTRA, taken=True).counts(BACK)
    assert not seen("B-2", state=EXTRA).counts(BACK)


def test_what_was_not_seen_is_not_judged():
    unseen = seen(state=NOT_SEEN, verdict="", through=BACK - timedelta(days=9))
    assert (unseen.blocked(BACK), unseen.counts(BACK), unseen.early(BACK)) == (False, False, False)


def test_counts_of_a_walk():
    found = [
        seen(),
        seen("B-2", STOP),
        seen("B-3", state=NOT_SEEN, verdict=""),
        seen("B-4", state=WRONG_TRUCK),
    ]
    tally = loadlist.tally(found, back_on=BACK, short=2)
    assert (tally.expected, tally.seen, tally.not_seen, tally.blocked, tally.strays, tally.short) == (
        3,
        2,
        1,
        1,
        1,
        2,
    )


VERDICTS, DAYS = (GOOD, STOP, UNKNOWN), (None, BACK - timedelta(days=1), BACK)
FOUND = st.lists(
    st.builds(Found, st.just("B-1"), st.sampled_from(loadlist.STATES), st.sampled_from(VERDICTS),
              st.sampled_from(DAYS), st.booleans()), max_size=5)  # fmt: skip


@given(FOUND, st.integers(0, 1))
def test_good_is_only_ever_said_of_a_walk_with_nothing_against_it(found, short):
    """Written out anew, straight from what a good walk is."""
    if loadlist.tally(found, back_on=BACK, short=short).outcome != GOOD:
        return
    assert short == 0
    assert any(one.state == SEEN for one in found)
    for one in found:
        assert one.verdict == GOOD
        assert one.good_through is None or one.good_through >= BACK
        assert one.state == SEEN or (one.taken and one.state != NOT_SEEN)


# What the server says when it arrives
@pytest.mark.parametrize(
    ("verdict", "through", "worse"),
    [(GOOD, BACK, False), (STOP, BACK, True), (UNKNOWN, None, True), (GOOD, BACK - timedelta(days=1), True)],
)
def test_the_server_speaks_against_what_was_told_good(verdict, through, worse):
    assert loadlist.worse(seen(), verdict, through, back_on=BACK) is worse
    assert not loadlist.worse(seen(verdict=STOP), verdict, through, back_on=BACK)
    assert not loadlist.worse(seen(state=NOT_SEEN), verdict, through, back_on=BACK)
