"""Whether a crew has what a job asks for, and the truck that they go with."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from itertools import product

import pytest

from gear.rules.kits import Need
from inspections.rules.job import STICK
from inspections.rules.job_check import Crewed, check, offered
from tests.rules.histories import FEDERAL
from tests.rules.job_gear import (
    BACK,
    BUCKET,
    GLOVES_ONLY,
    KIT,
    LATE,
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
    sleeves,
    thing,
)

PROTECTORS = (*KIT, Need("protector", "", 2))
SHELF = {"kind": "shelf", "name": "Shelf 1", "crew": None, "depot": "Harbour depot"}


def protector(name, **more):
    return thing("protector", name, **more)


# A truth table of one person
@pytest.mark.parametrize(
    ("has_gloves", "has_sleeves", "protectors"), list(product([False, True], [False, True], [0, 1, 2, 3]))
)
def test_a_person_is_complete_only_with_everything_that_the_kit_names(has_gloves, has_sleeves, protectors):
    things = [gloves()] * has_gloves + [sleeves()] * has_sleeves
    things += [protector(f"R-{n}") for n in range(protectors)]
    found = judged(job(), people=[replace(dev(), things=tuple(things))], kit=PROTECTORS)
    missing = ["PAIR_NONE"] * (not has_gloves) + ["PAIR_NONE"] * (not has_sleeves)
    missing += ["PROTECTORS_SHORT"] * (protectors < 2)
    assert against(found) == missing
    assert found.verdict == ("stop" if missing else "good")


@pytest.mark.parametrize(
    ("pair", "code"),
    [
        (gloves("1"), "PAIR_TOO_LOW"),
        (gloves("9"), "PAIR_NO_CLASS"),
        (gloves("2", size="9"), "PAIR_OTHER_SIZE"),
        (gloves("2", size=""), "PAIR_OTHER_SIZE"),
        (gloves("2", last=BACK - timedelta(days=1)), "OUT_BEFORE_RETURN"),
        (gloves("2", verdict="stop"), "NOT_GOOD"),
        (gloves("2", verdict="unknown", reason="CHAIN_BROKEN"), "NOT_GOOD"),
        (gloves("2", whole=False), "SET_APART"),
        (thing("glove", "G-1", size="10", **{"class": "2"}), "PAIR_ODD"),
    ],
)
def test_a_pair_that_does_not_count_says_why_and_what_would(pair, code):
    found = judged(job(), people=[dev(pair)])
    assert against(found) == [code]
    assert one(found, code).values["person"] == "Dev"
    assert one(found, code).want.kind == "glove"
    assert one(found, code).want.classes == ("2", "3", "4")


def test_one_good_pair_is_enough_and_the_others_are_told_to_be_left():
    found = judged(
        job(), people=[dev(gloves("0", "P-0"), gloves("2", "P-2"), gloves("2", "P-3", verdict="stop"))]
    )
    assert found.verdict == "good"
    assert one(found, "PAIR_FITS").values["thing"] == "P-2"
    assert one(found, "LEAVE").values["left"] == {"P-0": "PAIR_TOO_LOW", "P-3": "NOT_GOOD"}


def test_what_is_too_low_is_told_together_by_the_highest_class():
    found = judged(
        job(system_v=24_900), people=[dev(gloves("0", "P-0"), gloves("2", "P-2"), gloves("00", "P-00"))]
    )
    low = one(found, "PAIR_TOO_LOW")
    assert low.values["things"] == {"P-0": "0", "P-2": "2", "P-00": "00"}
    assert low.figures[0]["value"] == "17000"


def test_the_pair_that_lasts_longest_is_named():
    found = judged(job(), people=[dev(gloves("2", "P-2", last=BACK), gloves("2", "P-3", last=LATE))])
    assert one(found, "PAIR_FITS").values["thing"] == "P-3"


def test_a_size_that_is_not_stated_leaves_it_open():
    found = judged(job(), people=[dev(gloves(), size="")])
    assert (found.verdict, against(found)) == ("unknown", ["SIZE_NOT_STATED"])


def test_every_one_of_the_crew_counts_and_nobody_is_nobody():
    found = judged(job(), people=[dev(), dev(gloves("1", "P-5"), name="Marisol")])
    assert one(found, "PAIR_TOO_LOW").values["person"] == "Marisol"
    assert against(judged(job(), people=[])) == ["NO_CREW"]


def test_sleeves_are_asked_for_where_the_kit_names_them():
    assert judged(job(), people=[dev(gloves())], kit=KIT).verdict == "stop"
    assert judged(job(), people=[dev(gloves())], kit=GLOVES_ONLY).verdict == "good"
    low = judged(job(system_v=24_900), people=[dev(gloves("3"), sleeves("2"))], kit=KIT)
    assert one(low, "PAIR_TOO_LOW").values["kind"] == "sleeve"


# With sticks
@pytest.mark.parametrize(
    ("sticks", "cls", "verdict"),
    [(0, "2", "stop"), (1, "2", "good"), (1, "1", "stop"), (1, "3", "good")],
)
def test_sticks_need_a_live_line_tool_and_the_gloves_of_the_kit(sticks, cls, verdict):
    aboard = [thing("live_line_tool", f"L-{n}") for n in range(sticks)]
    asked = job(method=STICK, system_v=34_500)
    assert judged(asked, *aboard, grounds("4/0"), people=[dev(gloves(cls))]).verdict == verdict


def test_a_stick_out_of_date_stops_even_beside_a_good_one():
    aboard = [thing("live_line_tool", "L-1"), thing("live_line_tool", "L-2", last=BACK - timedelta(days=1))]
    found = judged(job(method=STICK), *aboard, grounds("4/0"))
    assert against(found) == ["OUT_BEFORE_RETURN"]


# The truck
@pytest.mark.parametrize(
    ("truck", "code"),
    [
        (None, "NO_TRUCK"),
        (replace(BUCKET, on_record=False), "TRUCK_NOT_ON_RECORD"),
        (replace(BUCKET, insulated=False), "NOT_INSULATED"),
        (replace(BUCKET, boom_rated_v=None), "BOOM_NOT_RATED"),
        (replace(BUCKET, boom_rated_v=12_469), "BOOM_TOO_LOW"),
        (replace(BUCKET, boom_good_through=None), "BOOM_NOT_DATED"),
        (replace(BUCKET, boom_good_through=TODAY - timedelta(days=1)), "BOOM_OUT_OF_DATE"),
        (replace(BUCKET, boom_good_through=BACK - timedelta(days=1)), "BOOM_OUT_BEFORE_RETURN"),
        (replace(BUCKET, liner_good_through=None), "LINER_NOT_DATED"),
        (replace(BUCKET, liner_good_through=BACK - timedelta(days=1)), "LINER_OUT_BEFORE_RETURN"),
    ],
)
def test_a_truck_that_is_not_rated_in_date_and_on_record_is_never_good(truck, code):
    found = judged(job(), truck=truck)
    assert against(found) == [code]
    assert found.verdict != "good"


@pytest.mark.parametrize(
    "truck",
    [
        replace(BUCKET, boom_rated_v=12_470),
        replace(BUCKET, boom_good_through=BACK),
        replace(BUCKET, has_liner=False, liner_good_through=None),
    ],
)
def test_a_truck_at_its_limits_is_good(truck):
    assert judged(job(), truck=truck).verdict == "good"


# Where the nearest fitting piece is
def at(kind, name, depot="Harbour depot", crew=None):
    return {"kind": kind, "name": name, "crew": crew, "depot": depot}


def nearest(asked, things, *, people=None, aboard=()):
    crewed = Crewed(BUCKET, tuple(aboard) or (grounds("4/0"),), tuple(people or [dev()]))
    found = check(asked, crewed, GLOVES_ONLY, FEDERAL, as_of=TODAY)
    place = {"truck": "T-12", "crew": "Crew 7", "depot": "Harbour depot"}
    return offered(found, things, asked, FEDERAL, **place)


def test_the_crews_own_cage_comes_before_shelves_and_these_before_trucks_and_other_depots():
    places = {
        "P-FAR": at("shelf", "Shelf 9", "Upper depot"),
        "P-TRUCK": at("truck", "T-19"),
        "P-SHELF": at("shelf", "Shelf 1"),
        "P-CAGE": at("crew", "Crew 7"),
        "P-ABOARD": at("truck", "T-12"),
    }
    things = [gloves("3", name, holder=holder) for name, holder in places.items()]
    found = nearest(job(system_v=24_900), things)
    named = [one(found, "PAIR_TOO_LOW").offers[0].name]
    for gone in ("P-CAGE", "P-SHELF", "P-TRUCK"):
        things = [thing for thing in things if thing.name != gone]
        named.append(one(nearest(job(system_v=24_900), things), "PAIR_TOO_LOW").offers[0].name)
    assert named == ["P-CAGE", "P-SHELF", "P-TRUCK", "P-FAR"]


def test_two_people_are_not_sent_for_the_same_pair():
    things = [gloves("3", name, holder=SHELF) for name in ("P-8", "P-9")]
    crew = [dev(), dev(gloves("2", "P-5"), name="Marisol")]
    found = nearest(job(system_v=24_900), things, people=crew)
    low = [finding for finding in found.findings if finding.code == "PAIR_TOO_LOW"]
    assert [finding.offers[0].name for finding in low] == ["P-8", "P-9"]


@pytest.mark.parametrize(
    "wrong",
    [
        {"cls": "2"},
        {"size": "9"},
        {"last": BACK - timedelta(days=1)},
        {"verdict": "stop"},
        {"whole": False},
    ],
)
def test_only_what_fits_is_offered(wrong):
    things = [gloves(**{"cls": "3", "name": "P-9", "holder": SHELF, **wrong})]
    assert one(nearest(job(system_v=24_900), things), "PAIR_TOO_LOW").offers == ()


def test_a_visitors_pair_is_not_ours_to_hand_out():
    theirs = gloves("3", "P-9", holder=SHELF)
    theirs.pieces[0].owner = "Harrow Ridge Line Contractors"
    assert one(nearest(job(system_v=24_900), [theirs]), "PAIR_TOO_LOW").offers == ()


def test_a_set_that_carries_the_fault_is_named_with_its_last_day():
    things = [
        grounds("#2", "G-8", holder=at("truck", "T-18")),
        grounds("1/0", "G-9", holder=at("truck", "T-19")),
    ]
    asked = job(fault_ka=Decimal("13.2"), primary_cycles=6, backup_cycles=18)
    found = nearest(asked, things, aboard=[grounds("#2", "G-022")])
    (offer,) = one(found, "SET_TOO_SMALL").offers
    assert (offer.name, offer.holder["name"], offer.last_day) == ("G-9", "T-19", LATE)


def test_an_equal_blanket_stands_in_for_one_that_goes_out_of_date():
    things = [cover("blanket", "4", "B-9", holder=SHELF), cover("hood", "4", "D-9", holder=SHELF)]
    aboard = [cover("blanket", "4", "B-1", last=TODAY), grounds("4/0")]
    found = nearest(job(), things, aboard=aboard)
    assert [offer.name for offer in one(found, "OUT_BEFORE_RETURN").offers] == ["B-9"]


def test_with_no_rules_nothing_is_said():
    refused = replace(FEDERAL, pack=None, refusal="row 3")
    found = check(job(), Crewed(BUCKET), KIT, refused, as_of=TODAY)
    assert (found.verdict, codes(found)) == ("unknown", ["PACK_REFUSED"])
