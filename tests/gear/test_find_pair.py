"""A pair for somebody who stands there: complete, good, on a shelf, first to expire with enough days."""

import re
from datetime import timedelta

import pytest
from django.urls import reverse

from gear.models import Item, ItemState
from gear.queries import answer, question
from gear.queries.pairs import Wanted, on_shelves
from gear.rules.pairs import first_to_expire
from tests import builders
from tests.gear.test_exchange import ago, good_pair, worn_pair

pytestmark = pytest.mark.django_db


def names(wanted=None):
    return {one.name for one in on_shelves(question(), wanted)}


def set_of(pieces):
    return ItemState.objects.get(item=pieces[0]).gear_set.set_no


def test_only_complete_good_pairs_on_a_shelf_are_offered():
    fit = set_of(good_pair())
    held = good_pair()
    builders.happened(held[0], "held", reason="odd smell")
    apart = good_pair()
    builders.happened(apart[0], "returned", holder=builders.holder("bench", "Bench").as_fact())
    worn_pair(builders.holder("person", "Dev"))
    builders.pair()
    good_pair(tested=500)
    builders.tested(builders.glove())
    good_pair(at=builders.holder("lab", "The lab"))
    lost = good_pair()
    builders.happened(lost[1], "lost", reason="not seen")
    assert names() == {fit}


def test_a_found_pair_lies_on_a_shelf_and_is_offered_to_nobody():
    pieces = worn_pair(builders.holder("person", "Dev"), tested=20)
    for one in pieces:
        builders.happened(one, "lost", reason="not seen", on=ago(3))
        builders.happened(one, "found", on=ago(2))
        builders.happened(one, "returned", holder=builders.holder().as_fact(), on=ago(1))
    assert [answer(one.item_no, question()).verdict for one in pieces] == ["stop", "stop"]
    assert names() == set()
    builders.tested(*pieces)
    assert names() == set()  # the hold of the finding stays until a second person releases it


@pytest.mark.parametrize(
    ("wanted", "fits"),
    [
        (Wanted(), "ABCD"),
        (Wanted(cls="2", size="10"), "AD"),
        (Wanted(cls="2", size="10", length_mm=(355, 361)), "A"),
        (Wanted(size="9.5"), "B"),
        (Wanted(cls="0"), "C"),
        (Wanted(type="i"), "D"),
        (Wanted(colour="Black"), "B"),
        (Wanted(kind="sleeve"), "S"),
    ],
    ids=str,
)
def test_what_was_asked_for_narrows(wanted, fits):
    good_pair("A")
    good_pair("B", size="9.5", colour="black")
    good_pair("C", cls="0")
    good_pair("D", length_mm=410, type="I")
    sleeves = [builders.item("sleeve", cls="2", hand=hand, length_mm=600) for hand in "LR"]
    builders.gather(*sleeves, set_no="S")
    builders.tested(*sleeves)
    assert names(wanted) == set(fits)


def test_every_pair_gives_what_the_answer_says_once_it_is_issued():
    """The figure shown beforehand against the answer afterwards, whatever the pair's past."""
    person = builders.holder("person", "Dev")
    shelf = builders.holder()
    fresh, stale, second = good_pair("A", tested=10), good_pair("B", tested=330), worn_pair(person, tested=60)
    for one in second:
        builders.happened(one, "returned", holder=shelf.as_fact(), on=ago(1))
    told = {one.name: one.gives for one in on_shelves(question())}
    assert len(told) == 3
    builders.issued(*fresh, *stale, *second, to=person)
    for pieces in (fresh, stale, second):
        found = answer(pieces[0].item_no, question()).good_through
        assert told[set_of(pieces)] == found


def test_of_two_hands_the_shorter_counts():
    left, right = builders.pair("A")
    builders.tested(left, on=ago(30), purpose="first")
    builders.tested(right, on=ago(340), purpose="first")
    (pair,) = on_shelves(question())
    assert pair.days < 30


# The page


def page(answer):
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def order_on(answer):
    return re.findall(r'aria-label="Hand out ([^"]+)"', answer.content.decode())


def test_the_page_lists_them_first_to_expire_first_and_short_ones_apart(client, cast):
    client.force_login(cast.orla)
    for name, tested in (("A", 20), ("B", 350), ("C", 300), ("D", 250)):
        good_pair(name, tested=tested)
    answer = client.get(reverse("find_pair"), {"cls": "2", "size": "10", "length": "14 in"})
    expected = first_to_expire(on_shelves(question()), floor=28)
    assert order_on(answer) == [*(one.name for one in expected), "B"]
    assert [one.name for one in expected] == ["C", "D", "A"]
    assert "1 pair gives less" in page(answer)
    item_no = Item.objects.get(state__gear_set__set_no="C", hand="L").item_no
    assert f'href="/counter/?new={item_no}" data-typed-first' in answer.content.decode()


def test_a_clerk_of_one_depot_sees_what_lies_there(client, cast):
    cast.orla.depot = cast.depot
    cast.orla.save()
    client.force_login(cast.orla)
    far = builders.depot("Upper Clay")
    good_pair("A", at=builders.holder("shelf", "Clay shelf", depot=far))
    good_pair("B")
    assert order_on(client.get(reverse("find_pair"), {"cls": "2"})) == ["B"]


def test_a_worker_sees_what_lies_ready_and_hands_nothing_out(client, cast):
    client.force_login(cast.dev)
    good_pair("A")
    answer = client.get(reverse("find_pair"), {"cls": "2"})
    assert "Pair of gloves, class 2" in page(answer)
    assert order_on(answer) == []
    assert "/counter/?" not in answer.content.decode()


@pytest.mark.parametrize("length", ["14", "14 in", "360", "360 mm", '14"'])
def test_a_length_is_read_as_people_say_it(client, cast, length):
    client.force_login(cast.orla)
    good_pair("A")
    good_pair("B", length_mm=410)
    assert order_on(client.get(reverse("find_pair"), {"length": length})) == ["A"]


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ({"length": "long"}, "Write a length as 14 in or as 360 mm."),
        ({"floor": "x"}, "Enter a whole number."),
        ({"floor": "-1"}, "greater than or equal to 0"),
        ({"cls": "9"}, "Select a valid choice"),
    ],
)
def test_what_cannot_be_read_is_told(client, cast, query, sentence):
    client.force_login(cast.orla)
    answer = client.get(reverse("find_pair"), query)
    assert answer.status_code == 422
    assert sentence in page(answer)


@pytest.mark.parametrize("pairs", [1, 8])
def test_the_queries_do_not_grow_with_what_lies_on_the_shelf(client, cast, pairs, django_assert_num_queries):
    client.force_login(cast.orla)
    for _one in range(pairs):
        good_pair()
    client.get(reverse("find_pair"), {"cls": "2"})  # the session is read and the rules are known
    with django_assert_num_queries(QUERIES):
        assert len(order_on(client.get(reverse("find_pair"), {"cls": "2"}))) == pairs


QUERIES = 11


def test_the_first_day_of_a_year_of_days_is_counted_from_today():
    good_pair("A", tested=0)
    (pair,) = on_shelves(question())
    assert pair.gives == answer(pair.pieces[0].item_no, question()).as_of + timedelta(days=pair.days)
