"""The lists of the overdue report are what the one decision says, for any fleet."""

import dataclasses
from datetime import UTC, date, datetime, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from gear.rules import packs
from gear.rules.entries import HOLDER_KINDS, USABLE_HOLDERS
from gear.rules.fold import Happening, ItemFacts, TestFact
from gear.rules.policy import SitePolicy
from gear.rules.readiness import Rules, decide
from reports.rules.overdue import Heading, overdue

MONDAY = date(2026, 9, 14)
MORNING = datetime(2026, 9, 14, 9, 40, tzinfo=UTC)
HEADING = Heading(MONDAY, MORNING, MORNING, "America/New_York", "us_federal 1")
RULES = Rules(packs.load("us_federal", "1"), SitePolicy())

days_ago = st.integers(0, 800).map(lambda days: MONDAY - timedelta(days=days))
happening = st.none() | days_ago.map(lambda on: Happening("word", on, "an entry"))
facts_of_one = st.builds(
    ItemFacts,
    item_no=st.just(""),
    identity=st.fixed_dictionaries(
        {
            "kind": st.sampled_from(["blanket", "line_hose", "hood", "grounding_jumper", "nonsense"]),
            "class": st.just("2"),
            "marked_expiry_on": st.none() | days_ago.map(date.isoformat),
        }
    ),
    holder=st.none()
    | st.fixed_dictionaries({"kind": st.sampled_from(HOLDER_KINDS), "name": st.sampled_from("ABC")}),
    issued=st.booleans(),
    first_issued_on=st.none() | days_ago,
    accepted=st.none() | days_ago.map(lambda on: TestFact(on, "an entry", "in_service", "us_federal 1", {})),
    lost=happening,
    destroyed=happening,
    needs_cleaning=happening,
    holds=st.lists(days_ago.map(lambda on: Happening("held", on, "an entry")), max_size=1),
    voided=st.lists(days_ago.map(lambda on: Happening("dropped", on, "an entry")), max_size=1),
    unreadable=st.sampled_from([[], [], [], ["an entry"]]),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(facts_of_one, max_size=12))
def test_the_lists_are_what_decide_says_for_any_fleet(fleet):
    fleet = [dataclasses.replace(facts, item_no=f"B-{number}") for number, facts in enumerate(fleet)]
    answers = {facts.item_no: decide(facts, RULES, as_of=MONDAY) for facts in fleet}
    report = overdue(
        ((answers[facts.item_no], facts) for facts in fleet),
        heading=HEADING,
        bounds=lambda: (len(fleet), len(fleet)),
    )
    for facts in fleet:
        answer = answers[facts.item_no]
        usable = facts.holder is not None and facts.holder["kind"] in USABLE_HOLDERS
        good = answer.verdict == "good"
        left = (answer.good_through - MONDAY).days if answer.good_through else None
        here = {
            name for name in ("usable_now", "off_the_road", "due_soon") if _among(report, name, facts.item_no)
        }
        if good:
            assert here == ({"due_soon"} if left is not None and left <= 28 else set())
        elif usable:
            assert here == {"usable_now"}
        else:
            gone = bool(facts.destroyed) and not facts.unreadable
            assert here == (set() if gone else {"off_the_road"})
    assert sum(count for name, count in report.totals.items() if name != "items_in_book") == len(fleet)


def _among(report, name, item_no):
    return item_no in [line.item_no for line in getattr(report, name)]
