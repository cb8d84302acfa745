"""One test logged: judged from its readings, kept whatever it says, and what it does to the answer."""

import dataclasses
import math
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from gear import queries
from gear.actions.acting import Act, Refused
from gear.actions.corrections import correct, replacement
from gear.models import Entry, Item, ItemState, Refusal
from gear.permissions import NotAllowed
from gear.rules import packs
from inspections.actions.testing import BadTest, log_test
from inspections.models import ElectricalTest, Instrument
from inspections.queries import detail_problems
from inspections.rules.acceptance import FINDINGS, Reading
from inspections.rules.testfacts import judged_as
from tests import builders

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 2)
SOUND = Reading(
    tested_on=DAY,
    purpose="in_service",
    supply="ac",
    applied_v=20_000,
    seconds=60,
    leakage_ma=Decimal("12.5"),
    visual="accept",
    breakdown=False,
    flashover=False,
)
JUMPER = Reading(
    tested_on=DAY,
    purpose="in_service",
    resistance_mohm=Decimal("1.100"),
    cable_temp_c=Decimal(20),
    visual="accept",
)


def reading(**cells) -> Reading:
    return dataclasses.replace(SOUND, **cells)


def verdict(item: Item, on: date = DAY) -> str:
    return queries.answer(item.item_no, queries.question(on)).verdict


def codes(item: Item, on: date = DAY) -> list[str]:
    return [reason.code for reason in queries.answer(item.item_no, queries.question(on)).reasons]


def test_an_accepted_test_dates_the_item(cast):
    blanket = builders.blanket("B-1")
    row, judgement = log_test(blanket, reading(), act=Act(cast.orla), report_no="R-7", lab="Bay lab")
    assert judgement.outcome == row.outcome == "accepted"
    assert row.entry.facts["judged_as"] == {"kind": "blanket", "class": "2"}
    assert (row.entry.occurred_on, row.entry.precision) == (DAY, "day")
    assert verdict(blanket) == "good"
    assert queries.answer("B-1", queries.question(DAY)).good_through == date(2027, 3, 1)
    assert list(detail_problems()) == []


# FEATURES 28; 29 CFR 1910.137 Table I-1: class 2, 16 mA for a 14-inch glove and 18 mA for a 16-inch one
@pytest.mark.parametrize(
    ("length_mm", "leakage", "outcome"),
    [
        (360, "15.999", "accepted"),
        (360, "16.0", "accepted"),
        (360, "16.001", "failed"),
        (360, "16.1", "failed"),
        (406, "18", "accepted"),
        (406, "18.001", "failed"),
    ],
)
def test_the_limit_of_class_and_length_decides(cast, length_mm, leakage, outcome):
    limit = packs.load("us_federal").glove_limit_ma("2", length_mm)
    assert limit.value == {360: 16, 406: 18}[length_mm]
    glove = builders.glove(length_mm=length_mm)
    row, _judgement = log_test(glove, reading(leakage_ma=Decimal(leakage)), act=Act(cast.orla))
    assert row.outcome == outcome
    assert row.limit_ma == limit.value


# FEATURES 31, the worked trap of a 2/0 jumper: the wrong length flips the verdict
@pytest.mark.parametrize(("length_m", "outcome"), [("3.048", "failed"), ("3.658", "accepted")])
def test_a_jumper_is_judged_by_its_length_size_and_temperature(cast, length_m, outcome):
    jumper = builders.jumper(cable_length_m=length_m)
    warm = dataclasses.replace(JUMPER, resistance_mohm=Decimal("1.250"), cable_temp_c=Decimal(35))
    row, judgement = log_test(jumper, warm, act=Act(cast.orla))
    assert row.outcome == outcome
    assert row.entry.facts["judged_as"] == {
        "kind": "grounding_jumper",
        "cable_size": "2/0",
        "cable_length_m": length_m,
    }
    if outcome == "failed":
        assert judgement.details["corrected_mohm"] > judgement.details["limit_20_mohm"]
        assert row.entry.facts["limit"]["details"]["limit_20_mohm"] == "1.1548"


@pytest.mark.parametrize(
    ("cells", "outcome", "code"),
    [
        ({"applied_v": 19_999}, "void", "VOLTAGE_TOO_LOW"),
        ({"seconds": 59}, "void", "TOO_SHORT"),
        ({"purpose": "first", "seconds": 179}, "void", "TOO_SHORT"),
        ({"leakage_ma": Decimal(0)}, "void", "ZERO_CURRENT"),
        ({"leakage_ma": None}, "void", "READING_MISSING"),
        ({"supply": None}, "void", "READING_MISSING"),
        ({"flashover": True}, "void", "FLASHOVER"),
        ({"visual": "test"}, "void", "VISUAL_TEST"),
        ({"visual": "clean"}, "void", "VISUAL_CLEAN"),
        ({"visual": "reject"}, "failed", "VISUAL_REJECT"),
        ({"breakdown": True}, "failed", "BREAKDOWN"),
        ({"breakdown": True, "seconds": 5}, "failed", "BREAKDOWN"),
    ],
)
def test_a_test_that_proves_nothing_is_kept_and_clears_nothing(cast, cells, outcome, code):
    glove = builders.glove(length_mm=360)
    row, judgement = log_test(glove, reading(**cells), act=Act(cast.orla))
    assert (row.outcome, judgement.codes[0].code) == (outcome, code)
    assert verdict(glove) == "stop"
    assert ("FAILED_TEST" in codes(glove)) == (outcome == "failed")
    assert ItemState.objects.get(item=glove).condition == (
        "rejected" if outcome == "failed" else "needs_cleaning" if code == "VISUAL_CLEAN" else "ok"
    )


def test_earlier_clocks_stand_after_a_void_test_and_end_after_a_look_in_doubt(cast):
    blanket = builders.blanket()
    log_test(blanket, reading(), act=Act(cast.orla))
    later = DAY + timedelta(days=30)
    log_test(blanket, reading(tested_on=later, seconds=10), act=Act(cast.orla))
    assert queries.answer(blanket.item_no, queries.question(later)).good_through == date(2027, 3, 1)
    log_test(blanket, reading(tested_on=later + timedelta(days=1), visual="test"), act=Act(cast.orla))
    assert codes(blanket, later) == []
    assert codes(blanket, later + timedelta(days=1)) == ["NEEDS_TEST"]


def test_a_failed_test_is_final_and_leaves_the_holder(cast):
    blanket = builders.blanket()
    builders.issued(blanket, to=builders.holder("person", "Dev"), on=DAY - timedelta(days=9))
    log_test(blanket, reading(breakdown=True), act=Act(cast.orla))
    log_test(blanket, reading(tested_on=DAY + timedelta(days=1)), act=Act(cast.orla))
    assert codes(blanket, DAY + timedelta(days=2)) == ["FAILED_TEST"]
    assert ItemState.objects.get(item=blanket).holder.name == "Dev"


def test_a_pass_done_before_the_failure_and_entered_after_it_clears_nothing(cast):
    """FAULTS A05: what counts is when it happened."""
    blanket = builders.blanket()
    log_test(blanket, reading(breakdown=True), act=Act(cast.orla))
    log_test(blanket, reading(tested_on=DAY - timedelta(days=1)), act=Act(cast.orla))
    assert "FAILED_TEST" in codes(blanket)


def test_a_test_entered_ten_days_late_lands_on_its_own_day(cast):
    """FAULTS D13: placed in history by its day, shown with both times, and clears nothing newer."""
    blanket = builders.blanket()
    builders.happened(blanket, "event", event="dropped", on=DAY + timedelta(days=3))
    log_test(blanket, reading(), act=Act(cast.orla))
    assert verdict(blanket, DAY) == "good"
    assert codes(blanket, DAY + timedelta(days=3)) == ["NEEDS_TEST"]
    entry = Entry.objects.get(kind="tested")
    assert entry.occurred_on == DAY
    assert entry.recorded_at.date() > DAY


def test_a_rejected_or_lost_item_keeps_its_test_and_stays_stop(cast):
    """FAULTS A29."""
    for kind in ("rejected", "lost"):
        blanket = builders.blanket()
        builders.happened(blanket, kind, reason="by hand", on=DAY - timedelta(days=1))
        row, _judgement = log_test(blanket, reading(), act=Act(cast.orla))
        assert row.outcome == "accepted"
        assert codes(blanket)[0] == kind.upper()


def test_out_for_repair_ends_only_by_a_test_after_repair(cast):
    blanket = builders.blanket()
    builders.happened(blanket, "sent_for_repair", reason="patch", on=DAY - timedelta(days=5))
    log_test(blanket, reading(), act=Act(cast.orla))
    assert codes(blanket) == ["OUT_FOR_REPAIR"]
    log_test(blanket, reading(tested_on=DAY + timedelta(days=1), purpose="after_repair"), act=Act(cast.orla))
    assert codes(blanket, DAY + timedelta(days=1)) == []


# FAULTS A21: calibration good through the day before, the very day, the day after
@pytest.mark.parametrize(
    ("due", "calibration", "outcome"),
    [
        (DAY - timedelta(days=1), "expired", "void"),
        (DAY, "on_file", "accepted"),
        (DAY + timedelta(days=1), "on_file", "accepted"),
        (None, "not_on_file", "accepted"),
    ],
)
@pytest.mark.parametrize("cell", ["instrument", "lab"])
def test_the_register_of_instruments(cast, due, calibration, outcome, cell):
    Instrument.objects.create(name="Bench 2", calibration_due_on=due)
    row, _judgement = log_test(builders.blanket(), reading(), act=Act(cast.orla), **{cell: "BENCH 2"})
    assert (row.calibration, row.outcome) == (calibration, outcome)


def test_an_instrument_that_is_not_in_the_register_does_not_block(cast):
    row, _judgement = log_test(builders.blanket(), reading(), act=Act(cast.orla), instrument="Meter 9")
    assert (row.calibration, row.outcome) == ("not_on_file", "accepted")


def test_one_expired_name_outweighs_another_that_is_on_file(cast):
    Instrument.objects.create(name="Meter 1", calibration_due_on=DAY)
    Instrument.objects.create(name="Bay lab", calibration_due_on=DAY - timedelta(days=1))
    row, _judgement = log_test(
        builders.blanket(), reading(), act=Act(cast.orla), instrument="Meter 1", lab="Bay lab"
    )
    assert row.outcome == "void"


@pytest.mark.parametrize(
    ("field", "cells"),
    [
        ("leakage_ma", {"leakage_ma": Decimal("-0.1")}),
        ("leakage_ma", {"leakage_ma": Decimal("NaN")}),
        ("leakage_ma", {"leakage_ma": Decimal("Infinity")}),
        ("leakage_ma", {"leakage_ma": math.nan}),
        ("leakage_ma", {"leakage_ma": Decimal(16_000)}),  # microampere keyed as milliampere
        ("leakage_ma", {"leakage_ma": Decimal("12.3456")}),
        ("leakage_ma", {"leakage_ma": True}),
        ("applied_v", {"applied_v": 20_000_000}),
        ("applied_v", {"applied_v": -1}),
        ("seconds", {"seconds": 86_401}),
        ("cable_temp_c", {"cable_temp_c": Decimal(-61)}),
        ("purpose", {"purpose": "acceptance"}),
        ("supply", {"supply": "AC"}),
        ("visual", {"visual": "ok"}),
        ("tested_on", {"tested_on": date(1899, 12, 31)}),
        ("tested_on", {"tested_on": date(2001, 5, 5)}),  # before it was made
    ],
)
def test_what_cannot_be_is_refused_and_names_its_field(cast, field, cells):
    glove = builders.glove(made_on=date(2001, 5, 6))
    with pytest.raises(BadTest) as refused:
        log_test(glove, reading(**cells), act=Act(cast.orla))
    assert refused.value.field == field
    assert str(refused.value).startswith(f"{field}: ")
    assert not ElectricalTest.objects.exists()
    assert not Entry.objects.filter(kind="tested").exists()
    kept = Refusal.objects.get()
    assert (kept.act, kept.subject, kept.by) == ("log_test", glove.item_no, cast.orla)


def test_tomorrow_is_refused_and_the_day_it_was_made_is_not(cast):
    glove = builders.glove(made_on=DAY)
    with pytest.raises(BadTest, match="future"):
        log_test(glove, reading(tested_on=builders.today() + timedelta(days=1)), act=Act(cast.orla))
    assert log_test(glove, reading(), act=Act(cast.orla))[0].outcome == "accepted"
    assert log_test(glove, reading(tested_on=builders.today()), act=Act(cast.orla))[0].outcome == "accepted"


def test_a_moment_must_lie_on_the_day_of_the_test(cast):
    blanket = builders.blanket()
    noon = datetime(2026, 3, 2, 17, 0, tzinfo=UTC)
    row, _judgement = log_test(blanket, reading(), act=Act(cast.orla, occurred_at=noon))
    assert (row.entry.precision, row.entry.occurred_at) == ("moment", noon)
    with pytest.raises(BadTest, match="not the day"):
        log_test(blanket, reading(seconds=61), act=Act(cast.orla, occurred_at=noon + timedelta(days=1)))
    soon = timezone.now() + timedelta(minutes=3)
    with pytest.raises(BadTest, match="future"):
        log_test(blanket, reading(tested_on=builders.today()), act=Act(cast.orla, occurred_at=soon))


def test_a_destroyed_item_cannot_be_tested(cast):
    blanket = builders.blanket()
    builders.happened(blanket, "destroyed", reason="cut up", witness="ines")
    with pytest.raises(Refused, match="destroyed"):
        log_test(blanket, reading(), act=Act(cast.orla))


@pytest.mark.parametrize("who", ["dev", "bertrand", "ines", "halvard", "pim"])
def test_only_clerks_record_electrical_tests(cast, who):
    with pytest.raises(NotAllowed):
        log_test(builders.blanket(), reading(), act=Act(getattr(cast, who)))
    assert Refusal.objects.count() == 1


def test_a_clerk_of_another_depot_may_not(cast):
    cast.orla.depot = builders.depot("Upland depot")
    with pytest.raises(NotAllowed, match="another depot"):
        log_test(builders.blanket(), reading(), act=Act(cast.orla))


def test_no_test_is_judged_without_rules(cast, monkeypatch):
    def refuse(*_args, **_kwargs):
        raise packs.PackRefused("us_federal_1.toml has been altered")

    monkeypatch.setattr(packs, "load", refuse)
    with pytest.raises(BadTest, match="cannot be relied upon"):
        log_test(builders.blanket(), reading(), act=Act(cast.orla))
    assert not ElectricalTest.objects.exists()


# What a judgement rests on


@pytest.mark.parametrize(
    ("kind", "supply", "names"),
    [
        ("glove", "ac", {"kind", "class", "length_mm"}),
        ("glove", None, {"kind", "class", "length_mm"}),
        ("glove", "dc", {"kind", "class"}),
        ("sleeve", "ac", {"kind", "class"}),
        ("blanket", "ac", {"kind", "class"}),
        ("line_hose", "ac", {"kind", "class"}),
        ("hood", "ac", {"kind", "class"}),
        ("rigid_cover", "ac", {"kind", "class"}),
        ("grounding_jumper", None, {"kind", "cable_size", "cable_length_m"}),
        ("live_line_tool", None, {"kind"}),
    ],
)
def test_the_identity_that_a_judgement_rests_on(kind, supply, names):
    assert judged_as({"kind": kind, "class": "2", "size": "10"}, supply=supply).keys() == names


def test_a_test_judged_with_another_length_no_longer_speaks_for_the_glove(cast):
    left, right = builders.pair(length_mm=406)
    for glove in (left, right):
        log_test(glove, reading(leakage_ma=Decimal(17)), act=Act(cast.orla))
    assert verdict(left) == "good"
    entry = Entry.objects.get(item=left, kind="received")
    facts = {**entry.facts, "identity": {**entry.facts["identity"], "length_mm": 360}}
    correct(entry, new=replacement(entry, facts=facts), reason="measured again", act=Act(cast.ines))
    assert "JUDGED_AS_OTHER" in codes(left)


def test_every_finding_has_words():
    from gear.wording import TEST_CODES

    assert FINDINGS.keys() <= TEST_CODES.keys()


# Nobody accepts their own repair


@pytest.fixture
def repaired(cast):
    """A blanket that Orla repaired the day before."""
    blanket = builders.blanket("B-1")
    builders.happened(blanket, "sent_for_repair", reason="torn corner", on=DAY - timedelta(days=2))
    builders.happened(blanket, "event", event="repaired", on=DAY - timedelta(days=1), by=cast.orla)
    return blanket


def test_nobody_accepts_by_a_test_what_they_repaired(cast, repaired):
    with pytest.raises(Refused, match="Another person must"):
        log_test(repaired, reading(purpose="after_repair"), act=Act(cast.orla))
    assert Refusal.objects.get().code == "OWN_REPAIR"
    assert verdict(repaired) == "stop"
    log_test(repaired, reading(purpose="after_repair"), act=Act(builders.person("clerk", "runa")))
    assert verdict(repaired) == "good"


def test_whoever_repaired_may_record_that_it_failed(cast, repaired):
    _row, judgement = log_test(repaired, reading(purpose="after_repair", breakdown=True), act=Act(cast.orla))
    assert judgement.outcome == "failed"
