"""Rubber goods and rigid cover against the voltage of a job."""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.rules.job import MULTIPHASE, STICK, TO_GROUND, Job, covering_classes
from tests.rules.job_gear import (
    BACK,
    BUCKET,
    LATE,
    PACK,
    TODAY,
    against,
    codes,
    cover,
    dev,
    gloves,
    grounds,
    job,
    judged,
    one,
    thing,
)
from tests.rules.standard_rows import rows

CLASSES = ("00", "0", "1", "2", "3", "4")
RIGID = ("2", "3", "4", "5", "6")


def with_gloves(cls, **entered):
    return judged(job(**entered), people=[dev(gloves(cls))])


# Worked cases
@pytest.mark.parametrize(
    ("system_v", "exposure", "cls", "verdict"),
    [
        (12_470, MULTIPHASE, "2", "good"),  # 17.0 kV
        (24_900, MULTIPHASE, "2", "stop"),
        (24_900, MULTIPHASE, "3", "good"),  # 26.5 kV
        (24_900, TO_GROUND, "2", "good"),  # 14.4 kV to ground
        (24_900, TO_GROUND, "1", "stop"),
        (34_500, MULTIPHASE, "3", "stop"),
        (34_500, MULTIPHASE, "4", "good"),  # 36.0 kV
    ],
)
def test_worked_cases(system_v, exposure, cls, verdict):
    assert with_gloves(cls, system_v=system_v, exposure=exposure).verdict == verdict


def test_a_phase_to_ground_exposure_never_stands_without_its_condition():
    found = with_gloves("2", system_v=24_900, exposure=TO_GROUND)
    condition = one(found, "TO_GROUND_CONDITION")
    assert condition.values["exposure_v"] == 14_377  # 24,900 / 1.732, rounded up
    assert condition.figures[0]["clause"].startswith("Table I-4, note 1")
    assert condition.figures[0]["confirm"] is True
    assert "TO_GROUND_CONDITION" not in codes(with_gloves("2"))


# The table, cell by cell
@pytest.mark.parametrize("row", rows("use_voltage"), ids=lambda row: f"class-{row['class']}")
def test_every_maximum_use_voltage_covers_itself_and_not_one_volt_more(row):
    limit = int(row["max_use_ac_v"])
    assert with_gloves(row["class"], system_v=limit).verdict == "good"
    above = with_gloves(row["class"], system_v=limit + 1)
    assert above.verdict == "stop"
    assert one(above, "PAIR_TOO_LOW").figures[0]["value"] == str(limit)


@pytest.mark.parametrize("row", rows("plastic_guard"), ids=lambda row: f"class-{row['class']}")
@pytest.mark.parametrize("kind", [MULTIPHASE, TO_GROUND])
def test_rigid_cover_has_a_basis_of_its_own(row, kind):
    """ASTM F712 and F968, from memory: covered phase to covered phase, and phase to ground. Never the glove table."""
    column = "covered_phase_phase_kv" if kind == MULTIPHASE else "phase_ground_kv"
    volts = int(float(row[column]) * 1000)
    system = volts if kind == MULTIPHASE else int(volts * 3**0.5)
    piece = cover("rigid_cover", row["class"], "C-1")
    asked = {"exposure": kind, "method": STICK}
    sticks = thing("live_line_tool", "L-1")
    truck = replace(BUCKET, boom_rated_v=90_000)
    fits = judged(job(system_v=system, **asked), piece, sticks, grounds("4/0"), truck=truck)
    assert fits.verdict == "good"
    assert all(figure["confirm"] for figure in one_of_kind(fits, "FITS", "rigid_cover").figures)
    low = judged(job(system_v=system + 2, **asked), piece, sticks, grounds("4/0"), truck=truck)
    assert against(low) == ["TOO_LOW"]
    assert one(low, "TOO_LOW").values["basis"] == "covered"


def one_of_kind(found, code, kind):
    (finding,) = [one for one in found.findings if one.code == code and one.values.get("kind") == kind]
    return finding


def test_rigid_cover_is_always_told_to_be_for_brush_contact_alone():
    with_rigid = judged(job(), cover("rigid_cover", "3", "C-1"), grounds("4/0"))
    assert one(with_rigid, "BRUSH_CONTACT").figures[0]["source"] == "ASTM F712"
    assert "BRUSH_CONTACT" not in codes(judged(job(), cover(), grounds("4/0")))


@pytest.mark.parametrize("kind", ["blanket", "line_hose", "hood", "rigid_cover"])
def test_cover_of_no_stated_class_cannot_be_rated(kind):
    found = judged(job(), cover(kind, None, "B-1"), grounds("4/0"))
    assert found.verdict == "unknown"
    assert one(found, "NO_RATING").values["thing"] == "B-1"


def test_above_every_class_no_glove_is_offered_and_none_fits():
    found = with_gloves("4", system_v=36_001)
    assert found.verdict == "stop"
    assert one(found, "NO_CLASS_COVERS").figures[0]["value"] == "36000"
    assert one(found, "PAIR_TOO_LOW").want.classes == ()


def test_two_things_wrong_with_a_load_are_both_told_and_the_worst_stands_on_top():
    found = judged(
        job(system_v=24_900),
        cover("blanket", "2", "B-1"),
        cover("blanket", "4", "B-2", last=TODAY + timedelta(days=3)),
        cover("hood", None, "D-1"),
        grounds("4/0"),
        people=[dev(gloves("3"))],
    )
    assert against(found) == ["TOO_LOW", "OUT_BEFORE_RETURN", "NO_RATING"]
    assert one(found, "OUT_BEFORE_RETURN").values["day"] == 4
    assert one(found, "TOO_LOW").want.classes == ("3", "4")


def test_what_is_left_out_does_not_count_and_is_told():
    found = judged(
        job(system_v=24_900),
        cover("blanket", "2", "B-1"),
        grounds("4/0"),
        people=[dev(gloves("3"))],
        left_out=["B-1"],
    )
    assert found.verdict == "good"
    assert one(found, "LEFT_OUT").values["things"] == ["B-1"]


def test_spare_gloves_aboard_may_be_picked_up_and_are_judged():
    spare = gloves("2", "P-9")
    found = judged(job(system_v=24_900), spare, grounds("4/0"), people=[dev(gloves("3"))])
    assert one(found, "TOO_LOW").values["thing"] == "P-9"


# Dates
@pytest.mark.parametrize(
    ("last", "verdict"),
    [(BACK - timedelta(days=1), "stop"), (BACK, "good"), (BACK + timedelta(days=1), "good"), (None, "good")],
)
def test_the_back_by_day_itself_is_a_day_of_use(last, verdict):
    found = judged(job(), cover(last=last), grounds("4/0"))
    assert found.verdict == verdict


def test_a_trip_of_fourteen_days_finds_what_falls_due_on_day_six():
    asked = job(back_by=TODAY + timedelta(days=14))
    found = judged(asked, cover(last=TODAY + timedelta(days=5)), grounds("4/0"))
    assert one(found, "OUT_BEFORE_RETURN").values["day"] == 6


def test_a_policy_that_begins_on_the_way_counts_on_the_day_of_return():
    piece = cover(verdict="good")
    later = cover(verdict="stop", reason="OUT_OF_DATE")
    stricter = type(piece)(piece.pieces, piece.today, later.then)
    assert one(judged(job(), stricter, grounds("4/0")), "NOT_GOOD_THEN").values["reason"] == "OUT_OF_DATE"


def test_a_look_that_is_due_on_the_day_of_return_is_no_reason_today():
    piece = cover(verdict="good")
    looked = cover(verdict="stop", reason="NOT_INSPECTED")
    assert (
        judged(job(), type(piece)(piece.pieces, piece.today, looked.then), grounds("4/0")).verdict == "good"
    )


def test_a_piece_without_an_answer_for_the_day_of_return_is_not_good():
    piece = cover()
    found = judged(job(), type(piece)(piece.pieces, piece.today, ()), grounds("4/0"))
    assert (found.verdict, one(found, "NOT_READ").verdict) == ("unknown", "unknown")


@pytest.mark.parametrize("verdict", ["stop", "unknown"])
def test_what_is_not_good_today_is_no_better_for_a_job(verdict):
    reason = {"stop": "DAMAGED", "unknown": "CHAIN_BROKEN"}[verdict]
    found = judged(job(), cover(verdict=verdict, reason=reason), grounds("4/0"))
    assert (found.verdict, one(found, "NOT_GOOD").values["reason"]) == (verdict, reason)


# What is left blank
@pytest.mark.parametrize(
    "field",
    [
        "system_v",
        "exposure",
        "method",
        "sites",
        "grounding",
        "x_over_r",
        "fault_ka",
        "primary_cycles",
        "backup_cycles",
        "back_by",
    ],
)
def test_a_blank_is_never_assumed(field):
    blank = "" if field in ("exposure", "method", "grounding") else None
    found = judged(job(**{field: blank}))
    assert found.verdict == "unknown"
    assert [one.values["field"] for one in found.findings if one.code == "BLANK"] == [field]


def test_nothing_entered_is_nothing_said():
    found = judged(Job())
    assert found.verdict == "unknown"
    assert {one.verdict for one in found.findings if one.part != "truck"} <= {"unknown", "note"}


def test_a_job_without_grounding_needs_no_fault_current():
    found = judged(job(sites=0, grounding="", x_over_r=None, fault_ka=None, backup_cycles=None))
    assert found.verdict == "good"
    assert "NO_GROUNDS_ASKED" in codes(found)


def test_a_return_before_today_cannot_be_judged():
    assert "BACK_IN_THE_PAST" in against(judged(job(back_by=TODAY - timedelta(days=1))))


# What never gets better
volts = st.integers(1, 80_000)
exposures = st.sampled_from([MULTIPHASE, TO_GROUND])


@given(first=volts, more=st.integers(0, 80_000), exposure=exposures, cls=st.sampled_from(CLASSES))
def test_more_voltage_never_makes_gloves_good(first, more, exposure, cls):
    low, high = (with_gloves(cls, system_v=v, exposure=exposure) for v in (first, first + more))
    assert low.verdict == "good" or high.verdict != "good"


@given(
    first=volts,
    more=st.integers(0, 80_000),
    exposure=exposures,
    kind=st.sampled_from(["blanket", "line_hose", "hood", "rigid_cover"]),
)
def test_more_voltage_never_makes_a_class_of_cover_fit(first, more, exposure, kind):
    low, high = (
        covering_classes(kind, job(system_v=v, exposure=exposure), PACK) for v in (first, first + more)
    )
    assert set(high) <= set(low)


@given(system_v=volts, kind=st.sampled_from(["glove", "blanket", "rigid_cover"]))
def test_multiphase_never_allows_what_phase_to_ground_does_not(system_v, kind):
    multiphase = covering_classes(kind, job(system_v=system_v), PACK)
    to_ground = covering_classes(kind, job(system_v=system_v, exposure=TO_GROUND), PACK)
    if kind != "rigid_cover":
        assert set(multiphase) <= set(to_ground)
    assert all(cls in (RIGID if kind == "rigid_cover" else CLASSES) for cls in to_ground)


@given(days=st.integers(0, 400), more=st.integers(0, 400), last=st.one_of(st.none(), st.integers(-5, 400)))
def test_a_later_return_never_makes_anything_good(days, more, last):
    piece = cover(last=None if last is None else TODAY + timedelta(days=last))
    sooner, later = (
        judged(job(back_by=TODAY + timedelta(days=n)), piece, grounds("4/0", last=LATE + timedelta(days=800)))
        for n in (days, days + more)
    )
    assert sooner.verdict == "good" or later.verdict != "good"
