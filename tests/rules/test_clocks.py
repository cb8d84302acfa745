"""The clocks, row by row of the worked examples, and the month arithmetic against independent reckoning."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from django.db import connection

from gear.rules import clocks, packs, policy
from gear.rules.clocks import Clock, Limits
from gear.rules.packs import Interval
from gear.rules.readiness import Rules, decide
from tests.rules.histories import FEDERAL, entry, folded, issued, mate_of, received, tested
from tests.rules.standard_rows import rows

VECTORS = rows("due_date_vectors")
POLICIES = {"default": FEDERAL, "pack alone": Rules(FEDERAL.pack, policy.SitePolicy())}
SIX, TWELVE = Interval(6, "months"), Interval(12, "months")


def day(text):
    return date.fromisoformat(text) if text else None


def answer_to(row):
    """The answer about the item of a worked example, in a pair whose other hand has the same history."""
    tested_on, issued_on = day(row["last_test_on"]), day(row["first_issued_on"])
    judged_as = {"kind": row["kind"], "class": "2"}
    lines = [received(row["kind"], hand="L"), tested(on=tested_on, judged_as=judged_as)]
    lines += [issued(on=issued_on)] if row["issued"] == "yes" else []
    lines += [entry("event", on=issued_on, event=row["event"])] if row["event"] else []
    facts = folded(*lines)
    rules = POLICIES.get(row["policy"], FEDERAL)
    return decide(facts, rules, as_of=day(row["as_of"]), mates=[mate_of(facts)])


def names_and_ends(answer):
    return [(clock.name, clock.good_through) for clock in answer.clocks]


@pytest.mark.parametrize(
    "row", [row for row in VECTORS if row["policy"] != "issue only"], ids=lambda row: row["id"]
)
def test_every_worked_example(row):
    answer = answer_to(row)
    first_out = {"OUT_OF_DATE": "out of date", "SHELF_LIMIT": "shelf limit", "NEEDS_TEST": "needs test"}
    assert (first_out[answer.reasons[0].code] if answer.reasons else "in date") == row["answer"]
    assert answer.verdict == ("good" if row["answer"] == "in date" else "stop")
    assert answer.good_through == day(row["last_good_day"])
    assert answer.winning_clock == (row["winning_clock"] or None)
    assert (answer.runner_up.name if answer.runner_up else "") == row["runner_up"]
    if row["anniversary"]:
        assert answer.good_through == day(row["anniversary"]) - timedelta(days=1)
    if row["runner_up"]:
        assert answer.runner_up.good_through == day(row["runner_up_anniversary"]) - timedelta(days=1)


def test_the_reading_that_the_regulator_ruled_out_is_not_ours():
    """Six months from issue alone would allow 15 months from the test; the letter of 19 Aug 2020 says no."""
    (row,) = [row for row in VECTORS if row["policy"] == "issue only"]
    answer = answer_to(row)
    assert answer.verdict == "stop"
    assert answer.good_through < day(row["last_good_day"])
    assert (row["winning_clock"], day(row["last_good_day"])) in names_and_ends(answer)


# Month arithmetic. Independent: numpy counts months apart from days, so clamping is written here a second time.
def numpy_anniversaries(first, last, months):
    days = np.arange(np.datetime64(first, "D"), np.datetime64(last, "D") + 1)
    month = days.astype("datetime64[M]")
    day_of_month = days - month.astype("datetime64[D]")
    target = month + np.timedelta64(months, "M")
    length = (target + 1).astype("datetime64[D]") - target.astype("datetime64[D]")
    return days, target.astype("datetime64[D]") + np.minimum(day_of_month, length - np.timedelta64(1, "D"))


@pytest.mark.parametrize("months", range(1, 37))
def test_anniversaries_of_every_day_of_a_hundred_years_equal_numpys(months):
    days, expected = numpy_anniversaries("1990-01-01", "2089-12-31", months)
    assert len(days) == 36_525
    ours = np.array(
        [clocks.anniversary.__wrapped__(one, months, "months") for one in days.tolist()], "datetime64[D]"
    )
    differing = days[ours != expected]
    assert differing.size == 0, f"first difference: {differing[0]} + {months} months"


@pytest.mark.django_db
@pytest.mark.parametrize("months", [1, 3, 6, 9, 12, 18, 24, 36])
def test_anniversaries_equal_what_the_database_reckons_where_it_can(months):
    """PostgreSQL's own interval arithmetic. SQLite's is no oracle but a trap, and that is asserted instead."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT d::date, (d + make_interval(months => %s))::date"
                " FROM generate_series('1990-01-01'::timestamp, '2089-12-31'::timestamp, '1 day') d",
                [months],
            )
            found = cursor.fetchall()
            assert len(found) == 36_525
            assert all(clocks.anniversary(start, months, "months") == end for start, end in found)
        else:
            cursor.execute("SELECT date('2026-08-31', %s)", [f"+{months} months"])
            theirs = date.fromisoformat(cursor.fetchone()[0])
            ours = clocks.anniversary(date(2026, 8, 31), months, "months")
            assert (theirs == ours) is (ours.day == 31)


@pytest.mark.parametrize(
    ("start", "interval", "last"),
    [
        (date(2026, 8, 31), SIX, date(2027, 2, 27)),
        (date(2027, 8, 31), SIX, date(2028, 2, 28)),
        (date(2028, 2, 29), TWELVE, date(2029, 2, 27)),
        (date(2026, 1, 1), TWELVE, date(2026, 12, 31)),
        (date(2026, 1, 31), Interval(1, "months"), date(2026, 2, 27)),
        (date(2026, 1, 31), Interval(30, "days"), date(2026, 3, 1)),
        (date(2028, 2, 1), Interval(30, "days"), date(2028, 3, 1)),
    ],
)
def test_the_last_good_day_is_the_day_before_the_anniversary(start, interval, last):
    assert clocks.last_good_day(start, interval) == last


def test_an_interval_in_anything_else_is_refused():
    with pytest.raises(ValueError, match="months or days, not in 'weeks'"):
        clocks.anniversary(date(2026, 1, 1), 6, "weeks")


def test_clocks_are_named_after_what_they_count_from_and_how_long():
    assert clocks.name_of("last_test", SIX) == "last_test+6"
    assert clocks.name_of("last_test", Interval(30, "days")) == "last_test+30d"


# Phases
JAN, MAR, APR = date(2026, 1, 1), date(2026, 3, 1), date(2026, 4, 1)


def limits(pack=SIX, site=None, shelf=(TWELVE,), count_from_test=False):
    named = tuple((interval, "shelf source") for interval in shelf)
    return Limits(pack, site, named, count_from_test, "pack source", "site source")


def running(of, *, tested_on=JAN, issued_on=None, known=True, expiry=None):
    found = clocks.running(
        of,
        last_test_on=tested_on,
        first_issued_on=issued_on,
        first_issue_known=known,
        issued=issued_on is not None,
        marked_expiry_on=expiry,
    )
    return [(clock.name, clock.good_through, clock.source) for clock in found]


@pytest.mark.parametrize(
    ("case", "expected"),
    [
        # never issued: the shelf limit alone
        (running(limits()), [("last_test+12", date(2026, 12, 31), "shelf source")]),
        # never issued, no shelf limit: the interval counts from the test
        (running(limits(shelf=())), [("last_test+6", date(2026, 6, 30), "pack source")]),
        # two shelf limits: the earlier is named first
        (
            running(limits(shelf=(TWELVE, Interval(9, "months")))),
            [
                ("last_test+9", date(2026, 9, 30), "shelf source"),
                ("last_test+12", date(2026, 12, 31), "shelf source"),
            ],
        ),
        # first service period: the earlier of issue + interval and test + shelf limit
        (
            running(limits(), issued_on=MAR),
            [
                ("first_issue+6", date(2026, 8, 31), "pack source"),
                ("last_test+12", date(2026, 12, 31), "shelf source"),
            ],
        ),
        # tested on the day of issue: still the first period
        (
            running(limits(), tested_on=MAR, issued_on=MAR),
            [
                ("first_issue+6", date(2026, 8, 31), "pack source"),
                ("last_test+12", date(2027, 2, 28), "shelf source"),
            ],
        ),
        # a later test: the interval from the test, worn or shelved
        (
            running(limits(), tested_on=APR, issued_on=MAR),
            [("last_test+6", date(2026, 9, 30), "pack source")],
        ),
        # in hand, first issue not known: never the shelf allowance
        (running(limits(), issued_on=MAR, known=False), [("last_test+6", date(2026, 6, 30), "pack source")]),
        # the site counts every period from the test
        (
            running(limits(count_from_test=True), issued_on=MAR),
            [("last_test+6", date(2026, 6, 30), "pack source")],
        ),
        # a shorter site interval stands beside the pack's and wins
        (
            running(limits(site=Interval(90, "days")), tested_on=APR, issued_on=MAR),
            [
                ("last_test+90d", date(2026, 6, 29), "site source"),
                ("last_test+6", date(2026, 9, 30), "pack source"),
            ],
        ),
        # the same interval from both is two sources of one date
        (
            running(limits(site=SIX), tested_on=APR, issued_on=MAR),
            [
                ("last_test+6", date(2026, 9, 30), "pack source"),
                ("last_test+6", date(2026, 9, 30), "site source"),
            ],
        ),
        # no interval anywhere: nothing dates it
        (running(limits(pack=None, shelf=()), issued_on=MAR), []),
        (running(limits(pack=None, shelf=())), []),
        # no test that counts: no clock, but what is marked on it still runs
        (running(limits(), tested_on=None, issued_on=MAR), []),
        (
            running(limits(), tested_on=None, expiry=APR),
            [("marked_expiry", APR, "expiry date marked on the item")],
        ),
        # a marked expiry before every other clock wins
        (
            running(limits(), expiry=APR),
            [
                ("marked_expiry", APR, "expiry date marked on the item"),
                ("last_test+12", date(2026, 12, 31), "shelf source"),
            ],
        ),
    ],
)
def test_which_clocks_run_in_which_phase(case, expected):
    assert case == expected


def test_an_item_is_issued_known_and_yet_without_a_date_only_by_a_broken_record_and_then_counts_from_the_test():
    found = clocks.running(
        limits(),
        last_test_on=JAN,
        first_issued_on=None,
        first_issue_known=True,
        issued=True,
        marked_expiry_on=None,
    )
    assert found == (Clock(date(2026, 6, 30), "last_test+6", "pack source"),)


def test_limits_name_the_clause_of_the_pack_and_the_source_of_the_site():
    rule = packs.load("us_federal").kind_rule("glove")
    found = clocks.limits_for(
        rule,
        {"glove": Interval(3, "months")},
        {"glove": Interval(9, "months")},
        count_from_test=False,
        policy_source="ours",
    )
    assert found.intervals() == (
        (rule.interval, f"{rule.source}: {rule.clause}"),
        (Interval(3, "months"), "ours"),
    )
    assert found.shelf_limits == (
        (rule.shelf_limit, f"{rule.source}: {rule.clause}"),
        (Interval(9, "months"), "ours"),
    )


def test_a_rule_without_a_clause_is_named_by_its_source_and_a_kind_without_a_shelf_limit_has_none():
    rule = replace(
        packs.load("us_federal").kind_rule("glove"), clause="", shelf_limit=None, source="handbook"
    )
    found = clocks.limits_for(rule, {}, {}, count_from_test=True, policy_source="ours")
    assert (found.pack_source, found.shelf_limits, found.count_from_test) == ("handbook", (), True)
