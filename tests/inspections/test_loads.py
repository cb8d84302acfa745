"""Classes of trucks, their lists, and walks round trucks as the server keeps them."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from gear import guards
from gear.actions.acting import Act
from gear.ledger import append, make_seal, verify
from gear.models import Refusal
from gear.models.evidence import Immutable
from gear.permissions import NotAllowed
from gear.queries import question
from inspections.actions.loads import LoadRefused, add_class, change_list, fit_truck
from inspections.field.kinds import BadRecord
from inspections.field.walks import load_check as load_check_of
from inspections.models import LoadCheck, LoadList, TruckClass, TruckFitting
from inspections.queries import loads
from inspections.rules import loadlist
from inspections.rules.loadlist import Line
from tests import builders
from tests.inspections.sealed_rows import load_check
from tests.inspections.walking import body, gear_of_twelve, ms, piece, sent, truck, walked

pytestmark = pytest.mark.django_db
BLANKETS = (Line("blanket", 2, "2"),)


def as_(role, name=None):
    return Act(builders.person(role, name))


def bucket(lines=BLANKETS):
    return add_class("Bucket truck", lines, act=as_("foreman", "bertrand"))


# Lists
def test_a_class_begins_with_the_first_version_of_its_list():
    made = bucket()
    kept = loads.newest_list(made)
    assert (kept.version, kept.by.username, loadlist.from_json(kept.lines)) == (1, "bertrand", BLANKETS)


def test_a_change_is_a_new_version_and_the_old_one_stays():
    made = bucket()
    more = (Line("blanket", 6, "4", "36 x 36 in"),)
    change_list(made, more, seen=1, reason="new feeder", act=as_("supervisor", "ines"))
    kept = LoadList.objects.filter(truck_class=made).order_by("version")
    assert [(one.version, one.by.username, loadlist.from_json(one.lines)) for one in kept] == [
        (1, "bertrand", BLANKETS),
        (2, "ines", more),
    ]
    assert loads.newest_lists()[made.pk].version == 2


@pytest.mark.parametrize(
    ("lines", "code"),
    [
        ((), "NO_LINES"),
        ((Line("blanket", 0),), "COUNT_WRONG"),
        ((Line("blanket", 201),), "COUNT_WRONG"),
        ((Line("blanket", 1, "7"),), "LEAST_NOT_OF_KIND"),
        ((Line("grounding_jumper", 1, "2"),), "LEAST_NOT_OF_KIND"),
        ((Line("blanket", 1, "2"), Line("blanket", 3, "2")), "TWICE"),
        (tuple(Line("blanket", 1, length_mm=mm) for mm in range(1, 42)), "TOO_MANY_LINES"),
    ],
)
def test_a_list_that_cannot_be_is_refused(lines, code):
    with pytest.raises(LoadRefused) as refusal:
        bucket(lines)
    assert refusal.value.code == code
    assert not TruckClass.objects.exists()
    assert Refusal.objects.get().code == code


def test_two_who_change_a_list_at_once_do_not_overwrite_each_other():
    made = bucket()
    change_list(made, (Line("hood", 1),), seen=1, reason="", act=as_("clerk", "orla"))
    with pytest.raises(LoadRefused, match="same moment"):
        change_list(made, (Line("hood", 2),), seen=1, reason="", act=as_("supervisor", "ines"))
    with pytest.raises(LoadRefused, match="Nothing was changed"):
        change_list(made, (Line("hood", 1),), seen=2, reason="", act=as_("supervisor", "ines"))


def test_a_name_is_taken_once_whatever_its_capitals():
    bucket()
    with pytest.raises(LoadRefused, match="There is a class of this name"):
        add_class(" bucket  TRUCK ", BLANKETS, act=as_("clerk"))


@pytest.mark.parametrize("role", ["worker", "auditor", "administrator"])
def test_lists_are_for_foremen_clerks_and_supervisors(role):
    with pytest.raises(NotAllowed):
        add_class("Bucket truck", BLANKETS, act=as_(role))
    with pytest.raises(NotAllowed):
        fit_truck(truck(), None, act=as_(role))


# Fittings
def test_a_truck_is_of_the_class_it_was_given_last():
    made, derrick = bucket(), add_class("Digger derrick", BLANKETS, act=as_("clerk"))
    fit_truck(truck(), made, act=as_("clerk"))
    fit_truck(truck(), derrick, act=as_("clerk"))
    assert loads.classes_of([truck(), truck("T-19")]) == {truck().pk: derrick}
    assert loads.list_of(truck()).truck_class == derrick
    fit_truck(truck(), None, act=as_("clerk"))
    assert loads.list_of(truck()) is None
    assert TruckFitting.objects.count() == 3


def test_only_a_truck_has_a_class_and_only_for_its_own_depot():
    with pytest.raises(LoadRefused, match="Only a truck"):
        fit_truck(builders.holder("shelf"), None, act=as_("clerk"))
    afar = builders.person("clerk", "wren", depot=builders.depot("Ferrow Point"))
    with pytest.raises(LoadRefused, match="another depot"):
        fit_truck(truck(), None, act=Act(afar))


# What is on record
def test_on_record_is_what_the_truck_and_its_people_have_and_lost_pieces_are_not_looked_for():
    blankets = gear_of_twelve(2)
    builders.happened(blankets[1], "lost", reason="storm")
    dev = builders.holder("person", "Dev")
    builders.issued(*builders.pair("P-1"), to=dev)
    rows = loads.on_record(truck(), people=[dev], asked=question())
    assert [(one.holder, one.item_no, one.expected) for one in rows[:2]] == [
        ("T-12", "B-1", True),
        ("T-12", "B-2", False),
    ]
    assert [one.holder for one in rows[2:]] == ["Dev", "Dev"]
    assert loads.on_record(truck(), asked=question()) == rows[:2]


def test_a_list_is_covered_by_what_is_good_through_the_return_alone():
    gear_of_twelve(2)
    builders.blanket("B-9", at=truck())  # never tested
    rows = loads.on_record(truck(), asked=question())
    today = timezone.localdate()
    assert [one.aboard for one in loads.covers([Line("blanket", 3, "2")], rows, back_on=today)] == [2]
    later = today + timedelta(days=800)
    assert [one.aboard for one in loads.covers([Line("blanket", 3, "2")], rows, back_on=later)] == [0]


def test_a_pair_whose_other_glove_lies_elsewhere_fills_no_line():
    left, right = builders.pair("P-1")
    builders.tested(left, right)
    builders.issued(left, to=truck())
    need = [Line("glove", 1, "2")]
    rows = loads.on_record(truck(), asked=question())
    assert [one.aboard for one in loads.covers(need, rows, back_on=timezone.localdate())] == [0]
    builders.issued(right, to=truck())
    rows = loads.on_record(truck(), asked=question())
    assert [one.aboard for one in loads.covers(need, rows, back_on=timezone.localdate())] == [1]


# A walk as it is kept
def test_a_walk_is_kept_as_it_was_told_with_what_the_server_says_beside_it():
    gear_of_twelve()
    made = bucket()
    kept = walked(
        piece("B-1"),
        piece("B-2"),
        piece("B-3", "not_seen"),
        outcome="unknown",
        crew=["Dev"],
        list={"class": "Bucket truck", "version": 1},
        short=[{"words": "Blanket", "count": 2, "aboard": 1}],
    )
    assert (kept.truck.name, kept.by.username, kept.device, kept.crew) == ("T-12", "dev", "Tablet 1", ["Dev"])
    assert (kept.expected, kept.seen, kept.not_seen, kept.outcome) == (3, 2, 1, "unknown")
    assert kept.load_list == loads.newest_list(made)
    assert kept.arrived["pieces"]["B-1"]["verdict"] == "good"
    assert kept.arrived["besides"] == []
    assert kept.pieces[2] == {
        "no": "B-3",
        "code": "B-3",
        "state": "not_seen",
        "verdict": "",
        "reasons": [],
        "good_through": None,
        "as_of_ms": None,
        "age_s": None,
        "source": "",
        "taken": False,
    }


def test_a_walk_in_which_everything_was_seen_and_is_good_is_good():
    gear_of_twelve()
    assert walked(*(piece(f"B-{number}") for number in (1, 2, 3))).outcome == "good"


@pytest.mark.parametrize(
    ("pieces", "outcome"),
    [
        ([piece("B-1"), piece("B-2", "not_seen")], "unknown"),
        ([piece("B-1"), piece("B-2", verdict="stop")], "stop"),
        ([piece("B-1"), piece("", "unknown", "unknown", code="XYZ")], "stop"),
        ([piece("B-1"), piece("B-7", "wrong_truck")], "unknown"),
        ([], "unknown"),
    ],
)
def test_a_phone_that_tells_good_of_a_walk_that_is_not_is_not_believed(pieces, outcome):
    truck()
    kept = walked(*pieces, outcome="good")
    assert (kept.told_outcome, kept.outcome) == ("good", outcome)


def test_a_walk_that_lacks_what_its_list_asks_for_is_not_good_though_the_phone_named_nothing_short():
    gear_of_twelve()
    bucket()
    listed = {"class": "Bucket truck", "version": 1}
    assert walked(piece("B-1"), list=listed, short=[]).outcome == "unknown"


def test_nothing_is_good_through_a_return_before_the_walk():
    gear_of_twelve(1)
    yesterday = timezone.localdate() - timedelta(days=1)
    kept = walked(piece("B-1", through=yesterday), back_on=str(yesterday - timedelta(days=3)))
    assert (kept.told_outcome, kept.outcome) == ("good", "stop")


def test_a_clock_that_runs_ahead_does_not_make_a_walk_the_newest_for_ever():
    gear_of_twelve(1)
    later = timezone.now() + timedelta(days=900)
    walked(piece("B-1"), started_ms=ms(later - timedelta(minutes=9)), finished_ms=ms(later))
    newest = walked(piece("B-1", "not_seen"), outcome="unknown")
    assert loads.last_walks()[truck().pk] == newest


def test_a_phone_that_told_worse_is_believed():
    gear_of_twelve(1)
    assert walked(piece("B-1"), outcome="stop").outcome == "stop"


def test_where_the_server_says_worse_on_arrival_it_is_shown():
    blanket, other, cut = gear_of_twelve()
    builders.happened(blanket, "held", reason="maker's notice")
    kept = walked(piece("B-1"), piece("B-2"), piece("B-3", verdict="stop"), outcome="stop")
    assert [(one.item_no, one.verdict, one.reasons) for one in loads.turned(kept)] == [
        ("B-1", "stop", ("HELD",))
    ]
    assert kept.pieces[0]["verdict"] == "good"
    assert [other, cut]


def test_what_the_server_knows_of_besides_is_named():
    gear_of_twelve(2)
    dev = builders.holder("person", "Dev")
    builders.issued(builders.glove("G-1"), to=dev)
    kept = walked(piece("B-1"), crew=["Dev"])
    assert kept.arrived["besides"] == ["B-2", "G-1"]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"truck": "T-99"}, "no truck"),
        ({"back_on": "soon"}, "back_on must be a day"),
        ({"started_ms": -1}, "started_ms must be"),
        ({"started_ms": True}, "started_ms must be"),
        ({"outcome": "fine"}, "outcome must be one of"),
        ({"pieces": "all"}, "pieces must be a list"),
        ({"pieces": [{"state": "seen", "verdict": "good"}]}, "no is missing"),
        ({"pieces": [{"no": "B-1", "state": "seen", "verdict": "maybe"}]}, "verdict must be one of"),
        ({"pieces": [{"no": "B-1", "state": "here"}]}, "state must be one of"),
        ({"list": {"class": "Bucket truck", "version": 7}}, "no load list"),
        ({"crew": [1]}, "crew must be a list"),
    ],
)
def test_a_walk_that_cannot_be_read_is_refused_by_its_field(change, says):
    truck()
    one = sent({**body(piece("B-1")), **change}, by=builders.person("worker", "dev"))
    with pytest.raises(BadRecord, match=says):
        load_check_of(one, Act(one.person))
    assert not LoadCheck.objects.exists()


@pytest.mark.parametrize("role", ["supervisor", "auditor", "administrator"])
def test_walks_are_for_workers_foremen_and_clerks(role):
    truck()
    with pytest.raises(NotAllowed):
        walked(piece("B-1"), by=builders.person(role))


def test_no_walk_is_stored_past_the_ledger_or_changed_after_and_the_seal_covers_it(past_the_guards):
    gear_of_twelve(1)
    kept = walked(piece("B-1"))
    make_seal(timezone.now())
    with pytest.raises(Immutable):
        kept.save()
    with pytest.raises(Immutable):
        LoadCheck(id=uuid4(), at=timezone.now()).save()
    assert verify.verify() == []
    past_the_guards("UPDATE inspections_loadcheck SET expected = 7, seen = 7")
    assert [problem.code for problem in verify.verify()] == ["ROWS_CHANGED"]


# What is missing
def test_what_the_last_walk_did_not_see_is_missing_until_it_is_seen_or_moved():
    gear_of_twelve()
    walked(piece("B-1"), piece("B-2", "not_seen"), piece("B-3", "not_seen"), outcome="unknown")
    assert [(one.truck.name, one.item_no) for one in loads.missing_from_last_walk()] == [
        ("T-12", "B-2"),
        ("T-12", "B-3"),
    ]
    builders.issued(loads.Item.objects.get(item_no="B-3"), to=truck("T-19"))
    assert [one.item_no for one in loads.missing_from_last_walk()] == ["B-2"]
    walked(piece("B-1"), piece("B-2"))
    assert loads.missing_from_last_walk() == []


def test_what_is_missing_is_asked_in_a_constant_number_of_queries():
    def asked():
        with CaptureQueriesContext(
            connection,
        ) as caught:
            found = loads.missing_from_last_walk()
        return len(found), len(caught)

    gear_of_twelve(1)
    walked(piece("B-1", "not_seen"), outcome="unknown")
    one = asked()
    for number in range(3):
        there = truck(f"T-2{number}")
        builders.blanket(f"C-{number}", at=there)
        walked(piece(f"C-{number}", "not_seen"), outcome="unknown", truck=there.name)
    assert asked() == (one[0] + 3, one[1])


# For the phone
def test_a_phone_is_told_the_trucks_with_the_list_of_their_class_and_what_fills_each_line():
    fit_truck(truck(), bucket((Line("blanket", 2, "2"), Line("glove", 1, "2"))), act=as_("clerk"))
    identities = {
        "B-1": {"kind": "blanket", "class": "2"},
        "B-2": {"kind": "blanket", "class": "1"},
        "G-1": {"kind": "glove", "class": "3"},
    }
    told = loads.trucks_for_phone([truck(), truck("T-19")], identities)
    assert told[0] == {
        "name": "T-12",
        "crew": "Crew 7",
        "depot": "Harbour depot",
        "class": "Bucket truck",
        "list": {
            "class": "Bucket truck",
            "version": 1,
            "lines": [
                {
                    "words": "Blanket, class 2 or higher: 2 pieces",
                    "unit": "piece",
                    "count": 2,
                    "fits": ["B-1"],
                },
                {"words": "Glove, class 2 or higher: 1 pair", "unit": "pair", "count": 1, "fits": ["G-1"]},
            ],
        },
    }
    assert (told[1]["name"], told[1]["class"], told[1]["list"]) == ("T-19", None, None)


# The database itself
def kept(**columns):
    append(load_check(**columns))


def two_lists(**columns):
    made = TruckClass.objects.create(name="Van")
    for _twice in range(2):
        append(LoadList(**{"truck_class": made, "version": 1, **columns}))


OFFENDERS = {
    "truckclass_named": lambda: TruckClass.objects.create(name=""),
    "loadlist_class_version_unique": two_lists,
    "loadlist_version_from_one": lambda: two_lists(version=0),
    "loadcheck_outcome_known": lambda: kept(outcome="fine"),
    "loadcheck_seen_of_expected": lambda: kept(seen=2),
    "loadcheck_good_is_complete": lambda: kept(outcome="good", expected=2),
    "loadcheck_ends_after_it_begins": lambda: kept(finished_at=timezone.now() - timedelta(hours=1)),
}


def test_every_named_constraint_has_a_case():
    models = (TruckClass, LoadList, TruckFitting, LoadCheck)
    assert {one.name for model in models for one in model._meta.constraints} == set(OFFENDERS)
    assert set(models) <= set(apps.get_app_config("inspections").get_models())


@pytest.mark.parametrize("name", OFFENDERS)
def test_the_database_refuses_what_the_constraint_forbids(name):
    # SQLite names the columns of a unique key, and what stands in the way of evidence its guard refuses already
    told = f"{name}|{guards.MESSAGE}" if name.endswith("_unique") else name
    with pytest.raises(IntegrityError, match=told), transaction.atomic():
        OFFENDERS[name]()
