"""Grounding sets against the fault of a job: withstand tables, weakest component, parallel sets, enough of them."""

from datetime import timedelta
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.rules.grounding import area_cmil, melting_current_a
from inspections.rules.job import PARALLEL, SINGLE
from inspections.rules.job_grounds import carries, equal_pairs
from tests.rules.job_gear import GRADE_OF, PACK, TODAY, against, codes, grounds, job, judged, one, thing
from tests.rules.standard_rows import rows

SIZES = tuple(GRADE_OF)


def fault(ka, cycles, **more):
    """A fault cleared in so many cycles by the slower of two relays."""
    return job(fault_ka=Decimal(ka), primary_cycles=4, backup_cycles=cycles, **more)


# Worked cases
@pytest.mark.parametrize(
    ("size", "ka", "cycles", "verdict"),
    [
        ("#2", "13.2", 18, "stop"),  # 30-cycle column: 10 kA
        ("1/0", "13.2", 18, "good"),  # 15 kA
        ("2/0", "32", 30, "stop"),  # 20 kA
        ("4/0", "32", 30, "stop"),  # 30 kA
        ("4/0", "30", 30, "good"),  # 0.5 s, a published example
        ("2/0", "20", 30, "good"),  # at the limit
        ("2/0", "21", 30, "stop"),
        ("3/0", "21", 30, "good"),
        ("2/0", "24", 15, "good"),
    ],
)
def test_worked_cases(size, ka, cycles, verdict):
    assert judged(fault(ka, cycles), grounds(size)).verdict == verdict


def test_two_equal_2_0_sets_carry_36_ka_for_30_cycles():
    asked = fault("32", 30, grounding=PARALLEL)
    found = judged(asked, grounds("2/0", "G-1"), grounds("2/0", "G-2"))
    assert found.verdict == "good"
    told = [finding for finding in found.findings if finding.code == "SET_CARRIES"]
    assert {finding.values["withstand_ka"] for finding in told} == {"36"}
    assert (
        judged(fault("36.001", 30, grounding=PARALLEL), grounds("2/0", "G-1"), grounds("2/0", "G-2")).verdict
        == "stop"
    )


@pytest.mark.parametrize("row", rows("withstand_examples"), ids=lambda row: "-".join(list(row.values())[:4]))
def test_published_examples(row):
    asked = fault(
        row["kiloamperes"], int(row["cycles"]), grounding=PARALLEL if row["cables"] == "2" else SINGLE
    )
    found = carries(grounds(row["cable_size"]), asked, PACK)
    assert {True: "yes", False: "no", None: "unknown"}[found.holds] == row["holds"]


# The tables, cell by cell
@pytest.mark.parametrize("cycles", [15, 30])
@pytest.mark.parametrize("row", rows("f855_symmetrical"), ids=lambda row: f"grade-{row['grade']}")
def test_every_withstand_is_carried_and_not_one_ampere_more(row, cycles):
    size, limit = row["cable"].split(" or ")[0], Decimal(row[f"withstand_{cycles}"])
    assert carries(grounds(size), fault(limit, cycles), PACK).holds is True
    assert carries(grounds(size), fault(limit + Decimal("0.001"), cycles), PACK).holds is False


@pytest.mark.parametrize("row", rows("f855_high_xr"), ids=lambda row: f"grade-{row['grade']}")
def test_above_x_over_r_1_8_the_h_grades_count_for_15_cycles(row):
    stated = {"clamp": row["grade"], "ferrule": row["grade"]}
    limit, high = Decimal(row["rated_ka"]), {"x_over_r": Decimal(30)}
    assert carries(grounds(row["cable"], **stated), fault(limit, 15, **high), PACK).holds is True
    assert carries(grounds(row["cable"], **stated), fault(limit + 1, 15, **high), PACK).holds is False
    assert carries(grounds(row["cable"], **stated), fault(1, 16, **high), PACK).holds is None


@pytest.mark.parametrize(
    ("x_over_r", "code"),
    [("1.8", ""), ("1.801", "HIGH_X_OVER_R_NEEDS_H_GRADE"), ("30", "HIGH_X_OVER_R_NEEDS_H_GRADE"),
     ("30.001", "X_OVER_R_BEYOND_TABLE")],
)  # fmt: skip
def test_plain_grades_hold_up_to_x_over_r_1_8_alone(x_over_r, code):
    found = carries(grounds("4/0"), fault(9, 15, x_over_r=Decimal(x_over_r)), PACK)
    assert (found.holds, found.code) == (None if code else True, code)


def test_beyond_30_cycles_engineering_is_asked_and_nothing_extrapolated():
    found = judged(fault("0.1", 31), grounds("350 kcmil"))
    assert found.verdict == "unknown"
    assert one(found, "SET_NOT_JUDGED").values["why"] == "ASK_ENGINEERING"


def test_the_longer_of_primary_and_backup_counts():
    short = job(fault_ka=Decimal(18), primary_cycles=6, backup_cycles=12)
    assert judged(short, grounds("1/0")).verdict == "good"  # 21 kA for 15 cycles
    for primary, backup in ((6, 18), (18, 6)):
        longer = job(fault_ka=Decimal(18), primary_cycles=primary, backup_cycles=backup)
        assert judged(longer, grounds("1/0")).verdict == "stop"  # 15 kA for 30


# The weakest component
@pytest.mark.parametrize(
    ("clamp", "ferrule", "grade"), [("5", "3", "3"), ("3", "5", "3"), ("7", "7", "5"), ("1", "5", "1")]
)
def test_a_set_is_as_good_as_its_weakest_component(clamp, ferrule, grade):
    found = carries(grounds("4/0", clamp=clamp, ferrule=ferrule), fault(1, 15), PACK)
    assert found.grade == grade


def test_one_thin_jumper_makes_a_thin_set():
    thick, thin = grounds("4/0", "G-1"), grounds("#2", "G-1")
    mixed = type(thick)((*thick.pieces[:2], thin.pieces[2]), thick.today, thick.then)
    assert carries(mixed, fault("13.2", 18), PACK).holds is False


@pytest.mark.parametrize("missing", ["cable_size", "clamp_grade", "ferrule_grade"])
def test_a_component_that_is_not_stated_gives_no_grade(missing):
    whole = grounds("4/0")
    whole.pieces[1].identity[missing] = None
    found = judged(job(), whole)
    assert one(found, "SET_NOT_JUDGED").verdict == "unknown"


def test_two_strong_cables_in_weak_clamps_are_no_stronger_than_these():
    asked = fault("30", 30, grounding=PARALLEL)
    assert carries(grounds("4/0"), asked, PACK).holds is True  # 54 kA
    assert carries(grounds("4/0", clamp="2", ferrule="2"), asked, PACK).kiloamperes == Decimal("27.0")


def test_no_practice_is_published_for_two_sets_at_high_x_over_r():
    found = carries(
        grounds("2/0", clamp="3H", ferrule="3H"), fault(9, 15, grounding=PARALLEL, x_over_r=Decimal(5)), PACK
    )
    assert (found.holds, found.code) == (None, "NO_PARALLEL_AT_HIGH_X_OVER_R")


# Enough of them
@pytest.mark.parametrize(
    ("sites", "sets", "verdict"),
    [(1, 0, "stop"), (1, 1, "good"), (2, 1, "stop"), (2, 2, "good"), (2, 3, "good")],
)
def test_one_set_to_a_site(sites, sets, verdict):
    aboard = [grounds("4/0", f"G-{number}") for number in range(sets)] or [
        thing("blanket", "B-1", **{"class": "4"})
    ]
    assert judged(job(sites=sites), *aboard).verdict == verdict


@pytest.mark.parametrize(
    ("first", "second", "pairs"),
    [
        (("2/0", "3.048"), ("2/0", "3.048"), 1),
        (("2/0", "3.048"), ("2/0", "3.0480"), 1),
        (("2/0", "3.048"), ("2/0", "4.572"), 0),
        (("2/0", "3.048"), ("4/0", "3.048"), 0),
        (("2/0", None), ("2/0", None), 0),
    ],
)
def test_two_sets_in_parallel_are_of_one_size_and_length(first, second, pairs):
    sets = [grounds(size, f"G-{n}", length=length) for n, (size, length) in enumerate((first, second))]
    assert equal_pairs(sets)[0] == pairs


def test_sets_of_unlike_jumpers_are_equal_only_jumper_by_jumper():
    short, long = grounds("2/0", "G-1", count=1), grounds("2/0", "G-2", count=1, length="4.572")
    both = type(short)((*short.pieces, *long.pieces), (*short.today, *long.today), (*short.then, *long.then))
    assert equal_pairs([both, both])[0] == 1
    assert equal_pairs([both, short])[0] == 0


def test_a_jumper_of_a_set_that_is_elsewhere_stops_the_set():
    found = judged(job(), grounds("4/0", whole=False))
    assert against(found) == ["SETS_SHORT", "SET_APART"]


def test_a_set_too_small_and_out_of_date_is_told_to_be_both():
    found = judged(fault("13.2", 18), grounds("#2", last=TODAY + timedelta(days=1)))
    assert against(found) == ["SET_TOO_SMALL", "SETS_SHORT", "OUT_BEFORE_RETURN"]


def test_a_jumper_in_no_set_is_told_and_does_not_count():
    lone = thing("grounding_jumper", "J-1", cable_size="4/0", clamp_grade="5", ferrule_grade="5")
    found = judged(job(), lone)
    assert "IN_NO_SET" in codes(found)
    assert found.verdict == "stop"


def test_what_may_not_be_used_is_told_of_grounds_that_are_not_asked_for_too():
    lone = thing("grounding_jumper", "J-1", cable_size="4/0", verdict="stop")
    assert against(judged(job(), grounds("4/0"), lone)) == ["NOT_GOOD"]
    bad = grounds("4/0", verdict="stop")
    assert judged(job(sites=0), grounds("4/0")).verdict == "good"
    assert against(judged(job(sites=0), bad)) == ["NOT_GOOD"]
    assert judged(job(sites=0), bad, left_out=["G-1"]).verdict == "good"


# Checked from outside, and what never gets better
@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(("cycles", "seconds"), [(15, "0.25"), (30, "0.5")])
def test_what_is_carried_stays_below_what_melts_the_cable(size, cycles, seconds):
    """Onderdonk on 98 % of the nominal area: every withstand lies at 0.6 to 0.8 of it."""
    melts = melting_current_a(area_cmil(size), seconds=Decimal(seconds)) * Decimal("0.98") / 1000
    share = carries(grounds(size), fault(1, cycles), PACK).kiloamperes / melts
    assert Decimal("0.6") < share < Decimal("0.8")


kiloamperes = st.decimals("0.1", "100", places=1)
times = st.integers(1, 60)


@given(ka=kiloamperes, more=st.decimals("0", "50", places=1), cycles=times, longer=st.integers(0, 60),
       size=st.sampled_from(SIZES), how=st.sampled_from([SINGLE, PARALLEL]))  # fmt: skip
def test_more_current_or_a_longer_time_never_makes_a_set_carry(ka, more, cycles, longer, size, how):
    easy = carries(grounds(size), fault(ka, cycles, grounding=how), PACK)
    hard = carries(grounds(size), fault(ka + more, cycles + longer, grounding=how), PACK)
    assert easy.holds is True or hard.holds is not True


@given(ka=kiloamperes, cycles=times, how=st.sampled_from([SINGLE, PARALLEL]))
def test_a_thicker_cable_never_carries_less(ka, cycles, how):
    asked = fault(ka, cycles, grounding=how)
    for thin, thick in pairwise(SIZES):
        assert (
            carries(grounds(thin), asked, PACK).holds is not True
            or carries(grounds(thick), asked, PACK).holds
        )


@given(ka=kiloamperes, sites=st.integers(1, 5), more=st.integers(0, 5), sets=st.integers(1, 6))
def test_more_sites_never_need_fewer_sets(ka, sites, more, sets):
    aboard = [grounds("4/0", f"G-{number}") for number in range(sets)]
    few, many = (judged(job(sites=n, fault_ka=ka), *aboard) for n in (sites, sites + more))
    assert few.verdict == "good" or many.verdict != "good"
