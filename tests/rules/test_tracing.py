"""What rests on a bad instrument: the span in which it may have been wrong, and the acceptance an item stands on."""

import itertools
import random
from datetime import UTC, date, datetime, timedelta

import pytest

from gear.rules.fold import Happening, ItemFacts
from inspections.rules.calibration import Calibration, History
from inspections.rules.tracing import Acceptance, Span, carried_by, has_ended, span

GOOD = date(2026, 8, 3)
FOUND = date(2026, 9, 14)
DAY = timedelta(days=1)
WRONG = Span(GOOD, FOUND)


def calibration(on, *, through=date(2027, 9, 1), in_tolerance=True):
    return Calibration(on, through, in_tolerance)


OUT = calibration(FOUND, in_tolerance=False)
SCRAPPED = calibration(FOUND, through=None, in_tolerance=False)


@pytest.mark.parametrize(
    ("history", "expected"),
    [
        # found wrong by a calibration that put it right the same day
        ([calibration(GOOD), OUT], Span(GOOD, FOUND)),
        # found wrong and not given back; put right two weeks later
        ([calibration(GOOD), SCRAPPED, calibration(FOUND + 14 * DAY)], Span(GOOD, FOUND + 14 * DAY)),
        # found wrong, and nothing has been done yet
        ([calibration(GOOD), SCRAPPED], Span(GOOD, None)),
        ([calibration(GOOD)], Span(GOOD, None)),
        # the newest good one counts, also one that was found out and put right
        ([calibration(date(2025, 8, 1)), calibration(GOOD, in_tolerance=False), OUT], Span(GOOD, FOUND)),
        # one that was out and stayed out is no good one
        (
            [calibration(date(2025, 8, 1)), calibration(GOOD, through=None, in_tolerance=False), OUT],
            Span(date(2025, 8, 1), FOUND),
        ),
        # nothing good on file: every test counts
        ([OUT], Span(None, FOUND)),
        ([], Span(None, None)),
    ],
)
def test_an_instrument_may_have_been_wrong_since_it_was_last_known_good(history, expected):
    assert span(History(tuple(history)), FOUND) == expected


@pytest.mark.parametrize(
    ("day", "covered"),
    [
        (GOOD - DAY, False),
        (GOOD, True),  # before or after the calibration of that day, the date does not tell
        (GOOD + DAY, True),
        (FOUND - DAY, True),
        (FOUND, True),
        (FOUND + DAY, False),
    ],
)
def test_both_ends_of_the_span_count(day, covered):
    assert WRONG.covers(day) is covered
    assert Span(None, None).covers(day)


def accepted(on, *names, at=0):
    moment = datetime(on.year, on.month, on.day, 12, at, tzinfo=UTC)
    return Acceptance(on, frozenset(name.casefold() for name in names), (moment, moment, f"{on}{at}"))


IN = GOOD + 7 * DAY
LATER = GOOD + 14 * DAY


@pytest.mark.parametrize(
    ("acceptances", "carried"),
    [
        ([accepted(IN, "M-2")], True),
        ([accepted(IN, "m-2")], True),
        ([accepted(IN, "M-2", "The lab")], True),
        ([accepted(IN, "M-1")], False),
        ([accepted(GOOD - DAY, "M-2")], False),
        ([accepted(FOUND + DAY, "M-2")], False),
        ([accepted(IN)], False),
        ([], False),
        # a later acceptance by another instrument or lab clears it, an earlier one does not
        ([accepted(IN, "M-2"), accepted(LATER, "M-1")], False),
        ([accepted(IN, "M-2"), accepted(LATER, "The lab")], False),
        ([accepted(GOOD, "M-1"), accepted(IN, "M-2")], True),
        # the same one, put right, clears it; the same one, still wrong, does not
        ([accepted(IN, "M-2"), accepted(FOUND + DAY, "M-2")], False),
        ([accepted(IN, "M-2"), accepted(LATER, "M-2")], True),
        # one that names nothing may have been made with the bad one
        ([accepted(IN, "M-2"), accepted(LATER)], True),
        ([accepted(IN, "M-1"), accepted(LATER)], False),
        # on one day, what came last
        ([accepted(IN, "M-2", at=1), accepted(IN, "M-1", at=2)], False),
        ([accepted(IN, "M-2", at=2), accepted(IN, "M-1", at=1)], True),
    ],
)
def test_an_item_rests_on_the_newest_acceptance_that_names_an_instrument(acceptances, carried):
    for order in itertools.permutations(acceptances):
        assert (carried_by(order, "M-2", WRONG) is not None) is carried


def test_what_it_rests_on_is_the_test_itself():
    first, second = accepted(IN, "M-2"), accepted(LATER, "M-2")
    assert carried_by([second, first], "M-2", WRONG) == second


def test_the_walk_agrees_with_another_way_of_saying_it_over_made_up_histories():
    """Drop what names nothing; the last of the rest decides, by its name and its day alone."""
    rng = random.Random(88)
    days = [GOOD - DAY, GOOD, IN, LATER, FOUND, FOUND + DAY]
    carried_at_all = 0
    for _once in range(2000):
        had = [
            accepted(rng.choice(days), *rng.sample(["M-2", "M-1", "The lab"], rng.randrange(3)), at=minute)
            for minute in range(rng.randrange(5))
        ]
        rest = [one for one in had if len(one.named) > 0]
        last = max(rest, key=lambda one: one.order, default=None)
        expected = last if last and "m-2" in last.named and GOOD <= last.on <= FOUND else None
        assert carried_by(had, "M-2", WRONG) == expected
        carried_at_all += expected is not None
    assert 100 < carried_at_all < 1900


@pytest.mark.parametrize("field", ["failed", "damaged", "rejected", "destroyed"])
def test_what_is_final_has_ended(field):
    assert has_ended(ItemFacts("G-1", **{field: Happening(field, IN, "x")}))


def test_what_needs_a_test_since_an_event_has_ended_and_what_is_only_kept_from_use_has_not():
    assert has_ended(ItemFacts("G-1", voided=[Happening("suspect", IN, "x")]))
    for field in ("lost", "out_for_test", "out_for_repair", "needs_cleaning"):
        assert not has_ended(ItemFacts("G-1", **{field: Happening(field, IN, "x")}))
    assert not has_ended(ItemFacts("G-1", holds=[Happening("held", IN, "x")]))
