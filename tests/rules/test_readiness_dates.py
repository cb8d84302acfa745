"""The last good day is good, the day after is not, whatever clock ends first."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from gear.rules import policy
from gear.rules.packs import Interval
from gear.rules.readiness import Rules, decide
from tests.rules.histories import FEDERAL, folded, issued, mate_of, received, tested
from tests.rules.test_readiness import FEB, JAN, LAST_DAY, MAR, ONE_DAY, asked, codes, glove


@pytest.mark.parametrize(
    ("as_of", "verdict", "left", "over"),
    [
        (LAST_DAY - ONE_DAY, "good", 1, None),
        (LAST_DAY, "good", 0, None),
        (LAST_DAY + ONE_DAY, "stop", -1, 1),
        (date(2036, 6, 30), "stop", -3653, 3653),
    ],
)
def test_the_last_good_day_is_good_and_the_day_after_is_not(as_of, verdict, left, over):
    answer = asked(glove(), as_of=as_of)
    assert (answer.verdict, answer.days_left, answer.days_over) == (verdict, left, over)
    if over:
        assert answer.reasons[0].values == {
            "good_through": LAST_DAY,
            "clock": "last_test+6",
            "days_over": over,
        }


def test_an_item_that_nothing_dates_has_no_days():
    answer = asked(folded(received()))
    assert (answer.good_through, answer.winning_clock, answer.days_left, answer.days_over) == (
        None,
        None,
        None,
        None,
    )


@pytest.mark.parametrize(("as_of", "found"), [(date(2026, 12, 31), []), (date(2027, 1, 1), ["SHELF_LIMIT"])])
def test_a_glove_never_issued_has_its_shelf_limit(as_of, found):
    facts = folded(received(), tested(on=JAN))
    assert codes(asked(facts, as_of=as_of, mates=[mate_of(facts)])) == (
        found and [*found, "SET_NOT_COMPLETE"]
    )


def test_an_expiry_marked_on_a_shelved_item_is_no_shelf_limit():
    facts = folded(received(marked_expiry_on="2026-02-28"), tested(on=JAN))
    assert codes(asked(facts, as_of=date(2026, 2, 28))) == []
    assert codes(asked(facts, as_of=MAR))[0] == "OUT_OF_DATE"


@pytest.mark.parametrize("days", [0, 28, 29])
def test_due_soon_is_a_note_from_28_days_before(days):
    answer = asked(glove(), as_of=LAST_DAY - timedelta(days=days))
    assert ("DUE_SOON" in [note.code for note in answer.notes]) is (days <= 28)
    assert answer.verdict == "good"


@pytest.mark.parametrize("kind", ["line_hose", "hood", "rigid_cover"])
def test_a_kind_without_a_clock_is_good_without_a_date_by_the_pack_and_dated_by_the_shipped_policy(kind):
    facts = folded(received(kind), issued(on=JAN), tested(on=FEB, judged_as={"kind": kind, "class": "2"}))
    bare = Rules(FEDERAL.pack, policy.SitePolicy())
    answer = decide(facts, bare, as_of=date(2099, 1, 1))
    assert (answer.verdict, answer.good_through) == ("good", None)
    assert decide(facts, FEDERAL, as_of=MAR).good_through == date(2027, 1, 31)


def test_a_shorter_site_interval_is_named_as_the_sites():
    rules = Rules(
        FEDERAL.pack,
        replace(FEDERAL.policy, intervals={"glove": Interval(3, "months")}, source="our safety rule 7"),
    )
    answer = asked(glove(), rules=rules, as_of=date(2026, 4, 1))
    assert (answer.winning_clock, answer.runner_up.name) == ("last_test+3", "last_test+6")
    assert (codes(answer)[0], answer.reasons[0].source) == ("OUT_OF_DATE", "our safety rule 7")
