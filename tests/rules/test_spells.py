"""Since when a piece has been open: the longest stretch up to today in which it was usable and never good."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gear.rules import fold, moments, readiness
from gear.rules.policy import SitePolicy
from gear.rules.spells import Past, spell
from tests.rules.histories import (
    DEV,
    FEDERAL,
    LAB,
    SHELF,
    TRUCK,
    ZONE,
    entry,
    issued,
    moved,
    received,
    tested,
)

MONDAY = date(2026, 9, 14)
END = moments.end_of_day(MONDAY, ZONE)
BLANKET = {"kind": "blanket", "class": "2"}


def past(chains, *, rules=lambda _day: FEDERAL, rule_days=(), **choices):
    """What is on record of a blanket B, or of some pieces with `mates` and `sets`."""
    stated = chains if isinstance(chains, dict) else {"B": chains}
    known = {
        "sets": {},
        "mates": {},
        "zone": ZONE,
        "until": END,
        "as_of": MONDAY,
        "known_at": moments.FOR_EVER,
    }
    return Past(stated, rules=rules, rule_days=rule_days, **{**known, **choices})


def since(chains, item_no="B", **choices):
    found = spell(item_no, past(chains, **choices))
    return found.since if found else None


def blanket(*lines, tested_on=date(2025, 9, 1), to=TRUCK):
    """A blanket of 2025, tested and issued on one day: good through 31 AUG 2026 where that is 1 SEP 2025."""
    return [
        received("blanket", on=date(2025, 1, 2)),
        tested(on=tested_on, judged_as=BLANKET),
        issued(to=to, on=tested_on),
        *lines,
    ]


def held(**given):
    return entry("held", reason="odd smell", **given)


def midnight(*ymd):
    return datetime(*ymd, tzinfo=UTC)


def test_it_is_open_from_the_day_after_the_last_good_day():
    assert since(blanket()) == midnight(2026, 9, 1)


def test_a_second_thing_wrong_with_it_starts_no_new_spell():
    assert since(blanket(held(on=date(2026, 9, 10)))) == midnight(2026, 9, 1)


def test_a_good_piece_and_one_on_a_shelf_are_in_no_spell():
    assert since(blanket(tested_on=date(2026, 9, 1))) is None
    back = moved(on=date(2026, 9, 12), to=SHELF)
    assert since(blanket(back)) is None


def test_a_shelf_in_between_starts_a_new_spell():
    back = moved(at=datetime(2026, 9, 5, 12, tzinfo=UTC), to=SHELF)
    out = moved(at=datetime(2026, 9, 8, 6, tzinfo=UTC), to=TRUCK)
    assert since(blanket(back, out)) == datetime(2026, 9, 8, 6, tzinfo=UTC)


def test_from_hand_to_hand_it_stays_one_spell():
    handed = moved(at=datetime(2026, 9, 8, 6, tzinfo=UTC), to=DEV)
    assert since(blanket(handed)) == midnight(2026, 9, 1)


def test_an_accepted_test_ends_a_spell_and_what_comes_after_begins_another():
    lines = blanket(tested(on=date(2026, 9, 7), judged_as=BLANKET), held(on=date(2026, 9, 9)))
    assert since(lines) == moments.late_in_day(date(2026, 9, 9), ZONE)


def test_what_is_recorded_before_it_counts_can_be_told_from_then_on():
    recorded = datetime(2026, 9, 9, 9, 55, tzinfo=UTC)
    failed = tested("failed", on=date(2026, 9, 9), judged_as=BLANKET, recorded_at=recorded, codes=[])
    found = spell("B", past(blanket(failed, tested_on=date(2026, 9, 1))))
    assert found.since == moments.late_in_day(date(2026, 9, 9), ZONE)
    assert found.told_from == recorded


def test_what_is_entered_late_counts_from_when_it_happened():
    late = entry(
        "event",
        event="dropped",
        at=datetime(2026, 9, 3, 15, tzinfo=UTC),
        recorded_at=datetime(2026, 9, 12, tzinfo=UTC),
    )
    assert since(blanket(late, tested_on=date(2026, 9, 1))) == datetime(2026, 9, 3, 15, tzinfo=UTC)
    then = {"known_at": datetime(2026, 9, 11, tzinfo=UTC)}
    assert since(blanket(late, tested_on=date(2026, 9, 1)), **then) is None


def test_a_mate_opens_it_as_well():
    day = date(2026, 3, 2)
    chains = {
        hand: [
            received(hand=hand, on=date(2026, 1, 2)),
            entry("joined_set", on=date(2026, 1, 2), set_no="P-1"),
            tested(on=day),
            issued(on=day),
        ]
        for hand in "LR"
    }
    formed = entry("set_formed", on=date(2026, 1, 2), set_no="P-1", kind="pair", required=2)
    known = {"sets": {"P-1": [formed]}, "mates": {"L": ["R"], "R": ["L"]}}
    assert since(chains, "L", **known) == midnight(2026, 9, 2)
    chains["R"].append(held(on=date(2026, 8, 20)))
    assert since(chains, "L", **known) == moments.late_in_day(date(2026, 8, 20), ZONE)


def test_a_stricter_policy_opens_it_on_the_day_from_which_it_counts():
    strict = replace(FEDERAL, policy=SitePolicy(preuse_stops=True))

    def rules(day):
        return strict if day >= date(2026, 9, 10) else FEDERAL

    chains = blanket(tested_on=date(2026, 9, 1))
    assert since(chains, rules=rules, rule_days=[date(1900, 1, 1), date(2026, 9, 10)]) == midnight(
        2026, 9, 10
    )


MOVES = st.sampled_from([SHELF, TRUCK, DEV, LAB])
DAYS = st.integers(0, 60).map(lambda days: MONDAY - timedelta(days=days))
LATER = st.one_of(
    st.builds(lambda to, on: moved(on=on, to=to), MOVES, DAYS),
    st.builds(lambda on: tested(on=on, judged_as=BLANKET), DAYS),
    st.builds(lambda on: held(on=on), DAYS),
    st.builds(lambda on: entry("event", event="dropped", on=on), DAYS),
    st.builds(lambda on: entry("inspected", outcome="accept", scope="pre_use", on=on), DAYS),
    st.builds(lambda on: entry("lost", reason="gone", on=on), DAYS),
    st.builds(lambda on: entry("found", on=on), DAYS),
)


@settings(max_examples=80)
@given(
    st.lists(LATER, max_size=6),
    st.integers(300, 420).map(lambda days: MONDAY - timedelta(days=days)),
    st.sampled_from([None, date(2026, 8, 30), date(2026, 9, 13)]),
)
def test_it_is_the_longest_stretch_up_to_today_whatever_happened(lines, tested_on, strict_from):
    """Against the plain way: asking of every day and of every entry, from the first to the last."""
    strict = replace(FEDERAL, policy=SitePolicy(preuse_stops=True))

    def rules(day):
        return strict if strict_from and day >= strict_from else FEDERAL

    days = [date(1900, 1, 1), *([strict_from] if strict_from else [])]
    chain = blanket(*lines, tested_on=tested_on)
    moments_asked = {line.occurred_at for line in chain}
    moments_asked |= {moments.start_of_day(MONDAY - timedelta(days=back), ZONE) for back in range(430)}
    began = None
    for at in sorted(moments_asked):
        day = moments.local_day(at, ZONE)
        facts = fold.fold("B", chain, as_of_at=at, known_at=moments.FOR_EVER)
        bad = readiness.decide(facts, rules(day), as_of=day).verdict != "good"
        began = (began or at) if facts.usable and bad else None
    assert since(chain, rules=rules, rule_days=days) == began


@pytest.mark.parametrize("item_no", ["B", "nothing"])
def test_of_what_is_not_on_record_nothing_is_told(item_no):
    assert since({}, item_no) is None
