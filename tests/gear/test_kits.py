"""Kits: what is missing from what everybody is given, and leavers on the list until all of it is back."""

import re
from datetime import timedelta

import pytest
from django.urls import reverse

from gear.actions import custody
from gear.actions.acting import Act
from gear.actions.exchange import cautions_of
from gear.actions.kits import KitRefused, set_kit, set_leaving
from gear.actions.people import deactivate
from gear.models import Entry, Holder, KitLine
from gear.permissions import NotAllowed
from gear.queries import question
from gear.queries.kits import kits, leavers, needs, people_in_kit
from gear.queries.pairs import pair_with
from gear.rules.kits import SHIPPED, Need
from tests import builders
from tests.gear.test_exchange import ago, good_pair, worn_pair

pytestmark = pytest.mark.django_db


@pytest.fixture
def dev(cast):
    cast.hand = builders.holder("person", "Dev", person=cast.dev)
    return cast


def kit_of(holder):
    ((_holder, kit),) = kits(Holder.objects.filter(pk=holder.pk), question())
    return {(line.need.kind, line.need.cls): line.has for line in kit.lines}


def give_whole_kit(holder):
    for columns in ({}, {}, {"cls": "0", "length_mm": 280}):
        worn_pair(holder, tested=30, **columns)
    sleeves = [builders.item("sleeve", cls="2", hand=hand, length_mm=600) for hand in "LR"]
    builders.gather(*sleeves)
    protectors = [builders.item("protector", hand=hand, size="10") for hand in "LR"]
    builders.tested(*sleeves, *protectors, on=ago(30))
    builders.issued(*sleeves, *protectors, to=holder, on=ago(20))
    return protectors


# The kit


def test_a_person_with_everything_good_has_a_complete_kit(dev):
    give_whole_kit(dev.hand)
    ((_holder, kit),) = kits(Holder.objects.filter(pk=dev.hand.pk), question())
    assert kit.complete, kit.missing


def test_who_has_nothing_lacks_every_line(dev):
    assert kit_of(dev.hand) == {(need.kind, need.cls): 0 for need in SHIPPED}


@pytest.mark.parametrize(
    ("trouble", "has"),
    [(None, 1), ("held", 0), ("overdue", 0), ("one glove at the lab", 0), ("another class", 0)],
)
def test_what_is_not_good_fills_nothing(dev, trouble, has):
    columns = {"cls": "1"} if trouble == "another class" else {}
    left, _right = worn_pair(dev.hand, tested=300 if trouble == "overdue" else 30, **columns)
    if trouble == "held":
        builders.happened(left, "held", reason="odd smell")
    if trouble == "one glove at the lab":
        builders.happened(left, "returned", holder=builders.holder("lab", "The lab").as_fact())
    assert kit_of(dev.hand)["glove", "2"] == has


def test_more_than_needed_fills_no_more(dev):
    for _one in range(3):
        worn_pair(dev.hand, tested=30)
    assert kit_of(dev.hand)["glove", "2"] == 2


def test_a_line_of_any_class_takes_what_the_lines_with_a_class_left(dev):
    set_kit([Need("glove", "", 1), Need("glove", "2", 1)], act=Act(dev.ines))
    worn_pair(dev.hand, tested=30)
    assert kit_of(dev.hand) == {("glove", ""): 0, ("glove", "2"): 1}
    worn_pair(dev.hand, tested=30)
    assert kit_of(dev.hand) == {("glove", ""): 1, ("glove", "2"): 1}


# The list


def test_the_shipped_list_counts_until_the_site_keeps_its_own(dev):
    assert needs() == SHIPPED
    own = [Need("blanket", "4", 2)]
    set_kit(own, act=Act(dev.ines))
    assert needs() == tuple(own)
    assert Entry.objects.get(kind="person_changed").facts["note"] == "2 blanket 4"


@pytest.mark.parametrize(
    ("lines", "code"),
    [
        ([], "NO_LINES"),
        ([Need("glove", "2", 1)] * 2, "TWICE"),
        ([Need("glove", "2", 0)], "COUNT_WRONG"),
        ([Need("glove", "2", 21)], "COUNT_WRONG"),
        ([Need("glove", str(n), 1) for n in range(13)], "TOO_MANY_LINES"),
    ],
)
def test_a_list_that_makes_no_sense_is_not_kept(dev, lines, code):
    with pytest.raises(KitRefused) as error:
        set_kit(lines, act=Act(dev.ines))
    assert error.value.code == code
    assert not KitLine.objects.exists()


@pytest.mark.parametrize("name", ["dev", "bertrand", "orla", "halvard"])
def test_only_who_manages_people_changes_the_list_or_says_that_somebody_leaves(dev, name):
    act = Act(getattr(dev, name))
    with pytest.raises(NotAllowed):
        set_kit([Need("glove", "2", 1)], act=act)
    with pytest.raises(NotAllowed):
        set_leaving(dev.hand, builders.today(), act=act)


# Leavers


def open_list():
    return {one.holder.name: sorted(facts.item_no for _a, facts in one.pieces) for one in leavers(question())}


@pytest.mark.parametrize("how", ["leaving", "deactivated", "holds no gear"])
def test_a_leaver_stands_on_the_list_until_everything_is_back(dev, how):
    pair, blanket = worn_pair(dev.hand), builders.blanket()
    builders.tested(blanket)
    builders.issued(blanket, to=dev.hand)
    assert open_list() == {}
    if how == "leaving":
        set_leaving(dev.hand, builders.today() + timedelta(days=9), act=Act(dev.ines))
    elif how == "deactivated":
        deactivate(dev.dev, reason="left", act=Act(dev.pim))
    else:
        Holder.objects.filter(pk=dev.hand.pk).update(active=False)
    everything = sorted(one.item_no for one in (*pair, blanket))
    assert open_list() == {"Dev": everything}
    shelf = builders.holder("shelf", "Returns")
    custody.move(list(pair), to=shelf, act=Act(dev.orla))
    assert open_list() == {"Dev": [blanket.item_no]}
    custody.move([blanket], to=shelf, act=Act(dev.orla))
    assert open_list() == {}


def test_reporting_gear_lost_takes_nobody_off_the_list_and_destruction_does(dev):
    blanket = builders.blanket()
    builders.issued(blanket, to=dev.hand, on=ago(9))
    set_leaving(dev.hand, builders.today(), act=Act(dev.ines))
    builders.happened(blanket, "lost", reason="not seen", on=ago(3))
    assert open_list() == {"Dev": [blanket.item_no]}
    builders.happened(blanket, "rejected", reason="cut", on=ago(2))
    builders.happened(blanket, "destroyed", reason="cut up", witness="ines", on=ago(1))
    assert open_list() == {}


def test_who_stays_after_all_is_no_leaver(dev):
    worn_pair(dev.hand)
    set_leaving(dev.hand, builders.today(), act=Act(dev.ines))
    assert dev.hand not in people_in_kit()
    set_leaving(dev.hand, None, act=Act(dev.ines))
    assert open_list() == {}
    assert dev.hand in people_in_kit()
    changes = Entry.objects.filter(kind="person_changed", facts__change="leaving")
    assert [one.facts["person"] for one in changes] == ["dev", "dev"]


def test_a_truck_does_not_leave(dev):
    with pytest.raises(KitRefused):
        set_leaving(builders.holder("truck", "T-01"), builders.today(), act=Act(dev.ines))


def test_the_counter_says_that_somebody_leaves(dev):
    new = good_pair()
    set_leaving(dev.hand, builders.today(), act=Act(dev.ines))
    dev.hand.refresh_from_db()
    told = cautions_of(pair_with(new[0], question()), old=(), to=dev.hand)
    assert [one.code for one in told] == ["LEAVING"]


# The pages


def page(response):
    return " ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split())


def test_the_page_tells_leavers_the_list_and_what_is_missing(client, dev):
    pair = worn_pair(dev.hand, tested=30)
    marisol = builders.holder("person", "Marisol", person=dev.marisol)
    set_leaving(dev.hand, builders.today(), act=Act(dev.ines))
    client.force_login(dev.orla)
    words = page(client.get(reverse("kits")))
    assert "1 leaver still has gear" in words
    assert pair[0].item_no in words
    assert "Glove, class 2: 2 pairs (has 0)" in words
    assert "common practice, no source" in words
    assert f"{marisol.name}, Crew 7" in words


def test_the_page_of_a_person_says_what_is_missing_or_to_give_back(client, dev):
    worn_pair(dev.hand, tested=30)
    client.force_login(dev.ines)
    address = reverse("person", args=[dev.dev.pk])
    assert "Glove, class 2: 2 pairs (has 1)" in page(client.get(address))
    set_leaving(dev.hand, builders.today(), act=Act(dev.ines))
    assert "2 pieces to give back" in page(client.get(address))


def test_a_supervisor_changes_the_list_and_the_day(client, dev):
    client.force_login(dev.ines)
    rows = {"form-TOTAL_FORMS": "2", "form-INITIAL_FORMS": "0"}
    rows |= {"form-0-kind": "glove", "form-0-cls": "2", "form-0-count": "1", "form-1-kind": ""}
    assert client.post(reverse("kit_list"), rows).status_code == 302
    assert needs() == (Need("glove", "2", 1),)
    wrong = client.post(reverse("kit_list"), {**rows, "form-0-count": ""})
    assert wrong.status_code == 422
    assert "Say how many." in page(wrong)
    assert client.post(reverse("kit_list"), {**rows, "form-0-kind": ""}).status_code == 422
    leave = reverse("holder_leaving", args=[dev.hand.pk])
    assert client.post(leave, {"on": "2026-12-01"}).status_code == 302
    dev.hand.refresh_from_db()
    assert dev.hand.leaving_on.isoformat() == "2026-12-01"


@pytest.mark.parametrize("people", [2, 8])
def test_the_queries_do_not_grow_with_people(client, cast, people, django_assert_num_queries):
    for number in range(people):
        holder = builders.holder("person", f"Worker {number}")
        worn_pair(holder, tested=30)
        if number % 2:
            set_leaving(holder, builders.today(), act=Act(cast.ines))
    client.force_login(cast.orla)
    client.get(reverse("kits"))
    with django_assert_num_queries(QUERIES):
        client.get(reverse("kits"))


QUERIES = 25
