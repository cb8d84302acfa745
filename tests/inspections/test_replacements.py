"""The nearest equal of a rejected piece, from the record: named for whoever stands at the truck."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from gear import queries
from gear.ledger import Draft, record
from gear.models import GearSet, Item
from gear.queries.replacements import replacements_for, spares_of
from gear.rules import policy
from gear.rules.clocks import Interval, last_good_day
from tests import builders
from tests.inspections.phones import phone_of

pytestmark = pytest.mark.django_db


def lying(set_no, at, **columns):
    """A tested pair that lies somewhere."""
    pair = builders.pair(set_no, at=at, **columns)
    builders.tested(*pair)
    return pair


@pytest.fixture
def rejected(cast):
    """Dev's left glove, rejected just now."""
    left, right = builders.pair("S-dev", at=builders.holder("person", "Dev"))
    builders.tested(left, right)
    builders.happened(left, "rejected", reason="cut")
    return Item.objects.select_related("item_type", "state__gear_set").get(pk=left.pk)


@pytest.fixture
def around(rejected):
    """Equal pairs near and far, and pairs that are not for Dev."""
    lying("S-far", builders.holder("shelf", "F", depot=builders.depot("Far depot")))
    lying("S-depot", builders.holder("shelf", "A"))
    lying("S-truck", builders.holder("truck", "T-07"))
    lying("S-marisol", builders.holder("person", "Marisol"))
    lying("S-size", builders.holder("shelf", "A"), size="9")
    held, _mate = lying("S-held", builders.holder("truck", "T-07"))
    builders.happened(held, "held", reason="odd smell")
    builders.pair("S-untested", at=builders.holder("truck", "T-07"))


def names(item):
    return [one.name for one in replacements_for(item, queries.question())]


def test_equal_pairs_that_are_good_and_in_nobodys_hands_are_named_the_nearest_first(rejected, around):
    assert names(rejected) == ["S-truck", "S-depot", "S-far"]


def test_each_says_where_it_lies_and_how_long_it_is_good(rejected, around):
    first = replacements_for(rejected, queries.question())[0]
    pieces = GearSet.objects.get(set_no="S-truck").itemstate_set.order_by("item__hand")
    assert first.numbers == tuple(state.item.item_no for state in pieces)
    assert first.place == "Truck T-07, Crew 7"
    assert (first.near, first.good_through) == (0, min(state.good_through for state in pieces).isoformat())


def test_a_pair_that_its_issue_would_put_out_of_date_is_not_named(rejected):
    """Tested 250 days ago: within the shelf limit of a year, but the site counts six months from the test."""
    pair = builders.pair("S-old", at=builders.holder("shelf", "A"))
    tested_on = builders.today() - timedelta(days=250)
    builders.tested(*pair, on=tested_on)
    (first,) = replacements_for(rejected, queries.question())
    assert first.good_through == last_good_day(tested_on, Interval(12, "months")).isoformat()
    from_test = policy.to_json(policy.SitePolicy(count_from_test=True, source="manual 4.2"))
    stated = {"policy": from_test, "effective_from": str(builders.today()), "reason": "review"}
    record(Draft(None, "policy_set", stated), by=None, via="system")
    assert replacements_for(rejected, queries.question()) == []


def test_where_there_is_none_none_is_named(rejected):
    assert names(rejected) == []


def test_a_blanket_is_replaced_by_a_blanket_of_its_class(cast):
    blanket = builders.blanket("B-1", at=builders.holder("truck", "T-07"))
    builders.tested(*(builders.blanket(name, cls=cls) for name, cls in (("B-2", "2"), ("B-4", "4"))))
    item = Item.objects.select_related("item_type", "state__gear_set").get(pk=blanket.pk)
    assert names(item) == ["B-2"]


def test_a_grounding_set_is_replaced_by_a_whole_one(cast):
    truck = builders.holder("truck", "T-07")
    builders.grounding_set(3, set_no="GS-1", at=truck)
    jumper = GearSet.objects.get(set_no="GS-1").itemstate_set.first().item
    for set_no, count in (("GS-2", 3), ("GS-3", 2)):
        builders.tested(*builders.grounding_set(count, set_no=set_no))
    item = Item.objects.select_related("item_type", "state__gear_set").get(pk=jumper.pk)
    assert names(item) == ["GS-2"]


def test_what_belongs_to_a_kit_is_not_torn_out_of_it(cast):
    wanted, other, beside = (builders.blanket(name) for name in ("B-1", "B-2", "B-3"))
    builders.tested(wanted, other, beside)
    builders.gather(other, beside, set_no="K-1", kind="kit")
    item = Item.objects.select_related("item_type", "state__gear_set").get(pk=wanted.pk)
    assert names(item) == []


def test_the_number_of_queries_does_not_grow(rejected, around):
    def queries_for():
        with CaptureQueriesContext(
            connection,
        ) as made:
            replacements_for(rejected, queries.question())
        return len(made)

    before = queries_for()
    for number in range(6):
        lying(f"S-more-{number}", builders.holder("shelf", "A"))
    assert queries_for() == before


def test_a_bundle_names_the_same_for_every_piece_that_is_in_use(rejected, around):
    found = spares_of([rejected.item_no, "S-none"], queries.question())
    assert [one.name for one in found[rejected.item_no]] == names(rejected)
    lying_there = GearSet.objects.get(set_no="S-depot").itemstate_set.first().item
    assert spares_of([lying_there.item_no], queries.question()) == {}


def test_a_bundle_asks_no_more_for_more_rows(rejected, around):
    def queries_for():
        numbers = list(Item.objects.values_list("item_no", flat=True))
        with CaptureQueriesContext(connection) as made:
            spares_of(numbers, queries.question())
        return len(made)

    before = queries_for()
    for number in range(6):
        lying(f"S-more-{number}", builders.holder("truck", "T-07"))
    assert queries_for() == before


def test_a_phone_asks_and_is_told(rejected, around, cast):
    phone = phone_of(cast.dev)
    answer = phone.get(f"/truck/replacements/{rejected.item_no}/")
    assert [one["name"] for one in answer.json()["offers"]] == ["S-truck", "S-depot", "S-far"]
    assert phone.get("/truck/replacements/G-none/").json() == {"offers": []}
    refused = Client().get(f"/truck/replacements/{rejected.item_no}/")
    assert (refused.status_code, refused.json()["refused"]) == (409, "NO_DEVICE")
