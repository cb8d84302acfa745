"""The pages of the counter, asked as a browser asks them."""

import re
from copy import copy
from datetime import timedelta
from uuid import uuid4

import pytest
from django.urls import reverse

from gear.models import Entry, ItemState
from gear.queries import question
from gear.queries.pairs import pair_with
from tests import builders
from tests.gear.act_forms import told
from tests.gear.test_exchange import ago, good_pair, worn_pair
from tests.lasting import cast  # noqa: F401

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def laid_out(cast):
    cast.dev.first_name = "Dev"
    cast.dev.save()
    cast.hand = builders.holder("person", "Dev", person=cast.dev)
    cast.shelf = builders.holder("shelf", "Returns")
    cast.new = good_pair("P-0100")
    return cast


@pytest.fixture
def counter(client, laid_out):
    client.force_login(laid_out.orla)
    return copy(laid_out)


def scan(client, text, **state):
    return client.get(reverse("counter"), {**state, "scan": text}, follow=True)


def page(answer):
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


# Who and what is meant


@pytest.mark.parametrize("typed", ["dev", "DEV", " Dev "])
def test_a_badge_or_a_name_says_who_stands_there(client, counter, typed):
    answer = scan(client, typed)
    assert answer.redirect_chain[0][0] == f"{reverse('counter')}?to={counter.hand.pk}"
    assert "Dev, Crew 7" in page(answer)


def test_a_piece_in_somebodys_hands_says_who_stands_there(client, counter):
    worn = worn_pair(counter.hand)
    assert f"to={counter.hand.pk}" in scan(client, worn[1].item_no).redirect_chain[0][0]


def test_the_new_pair_may_be_scanned_first(client, counter):
    answer = scan(client, counter.new[0].item_no)
    address = answer.redirect_chain[0][0]
    assert address == f"{reverse('counter')}?new={counter.new[0].item_no}"
    answer = scan(client, "dev", new=counter.new[0].item_no)
    assert '<form method="post"' in answer.content.decode()


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("nobody", "Nobody and nothing in the book fits"),
        ("halvard", "No gear may be issued to halvard"),
        ("", "Nobody and nothing in the book fits"),
    ],
)
def test_what_is_not_understood_is_told(client, counter, typed, sentence):
    assert sentence in page(scan(client, typed))


def test_several_people_of_one_name_are_offered(client, counter):
    for name in ("Kerra Angove", "Kerra Bolitho"):
        builders.holder("person", name)
    answer = scan(client, "kerra")
    assert "Several people fit" in page(answer)
    assert "Kerra Angove, Crew 7" in page(answer)


@pytest.mark.parametrize(
    "query", ["?to=x", "?to=999999", "?to=9999999999999999999999", "?new=%00", "?to=&new="]
)
def test_an_address_that_means_nothing_asks_again(client, counter, query):
    answer = client.get(reverse("counter") + query)
    assert answer.status_code == 200
    assert "Person: badge, name" in page(answer)


# What is shown, and sent


def form_of(client, counter, new=None):
    new = new or counter.new
    address = f"{reverse('counter')}?to={counter.hand.pk}&new={new[0].item_no}"
    answer = client.get(address)
    return address, answer


def send(client, counter, *, new=None, **fields):
    address, _answer = form_of(client, counter, new)
    days = pair_with((new or counter.new)[0], question()).days
    usual = {"id": str(uuid4()), "days": days, "shelf": counter.shelf.pk, "way": "here"}
    return client.post(address, {**usual, **fields})


def where(*items):
    return [ItemState.objects.get(item=one).holder.name for one in items]


def test_the_days_stand_there_in_large_figures_before_anything_is_handed_out(client, counter):
    _address, answer = form_of(client, counter)
    days = pair_with(counter.new[0], question()).days
    assert f'<p class="days"><strong>{days}</strong> days</p>' in answer.content.decode()
    assert "Handed out today, it is good through" in page(answer)


def test_three_scans_make_an_exchange(client, counter):
    old = worn_pair(counter.hand)
    answer = send(client, counter, old=old[0].item_no)
    assert answer.status_code == 302
    assert where(*counter.new, *old) == ["Dev", "Dev", "Returns", "Returns"]
    assert "Dev has P-0100: GOOD THROUGH" in told(answer)[0]


@pytest.mark.parametrize("fields", [{"way": "absent"}, {"old": "-"}])
def test_an_old_pair_that_is_not_here_goes_on_the_list(client, counter, fields):
    old = worn_pair(counter.hand)
    counter.crew.phone = "555-0107"
    counter.crew.save()
    answer = send(client, counter, **fields)
    assert "it is on the list until it is back" in told(answer)[0]
    assert where(*old) == ["Dev", "Dev"]
    listed = page(client.get(reverse("not_returned")))
    assert all(one.item_no in listed for one in old)
    assert "bertrand" in listed
    assert "555-0107" in listed


@pytest.mark.parametrize("fields", [{"way": "more"}, {"old": "+"}])
def test_one_more_pair_replaces_nothing(client, counter, fields):
    worn_pair(counter.hand)
    send(client, counter, **fields)
    assert not Entry.objects.filter(facts__has_key="replaces").exists()
    assert where(*counter.new) == ["Dev", "Dev"]


def test_enter_without_a_third_scan_hands_nothing_out_while_the_person_has_a_pair(client, counter):
    worn_pair(counter.hand)
    answer = send(client, counter)
    assert answer.status_code == 422
    assert "Scan the old pair, or say that it is not here." in page(answer)
    assert where(*counter.new) == ["The shelf", "The shelf"]


def test_enter_issues_the_first_pair(client, counter):
    assert send(client, counter).status_code == 302
    assert where(*counter.new) == ["Dev", "Dev"]


def test_which_of_two_pairs_stays_out_is_chosen(client, counter):
    first, second = worn_pair(counter.hand, tested=170), worn_pair(counter.hand, tested=100)
    name = ItemState.objects.get(item=second[0]).gear_set.set_no
    send(client, counter, way="absent", replaces=name)
    numbers = sorted(one.item_no for one in second)
    assert Entry.objects.filter(kind="issued", facts__replaces=numbers).count() == 2
    assert where(*first) == ["Dev", "Dev"]


def test_another_size_and_few_days_are_told_and_must_be_ticked(client, counter):
    worn_pair(counter.hand)
    anniversary = builders.today() + timedelta(days=10)
    new = builders.pair(size="11", received_on=ago(400))
    builders.tested(*new, on=anniversary.replace(year=anniversary.year - 1), purpose="first")
    _address, answer = form_of(client, counter, new)
    words = page(answer)
    assert "It gives 9 days only" in words
    assert "Another size: this pair is size 11, the present one size 10." in words
    answer = send(client, counter, new=new, way="absent")
    assert answer.status_code == 422
    assert where(*new) == ["The shelf", "The shelf"]
    ticks = re.findall(r'name="confirm" value="([^"]+)"', answer.content.decode())
    assert len(ticks) == 2
    assert send(client, counter, new=new, way="absent", confirm=ticks[:1]).status_code == 422
    assert send(client, counter, new=new, way="absent", confirm=ticks).status_code == 302
    assert where(*new) == ["Dev", "Dev"]


def test_a_pair_that_may_not_go_out_says_why_and_has_no_form(client, counter):
    builders.happened(counter.new[1], "held", reason="odd smell")
    _address, answer = form_of(client, counter)
    assert '<form method="post" class="fields exchange"' not in answer.content.decode()
    assert "odd smell" in page(answer)


def test_the_same_form_sent_twice_is_one_exchange(client, counter):
    old, same = worn_pair(counter.hand), str(uuid4())
    days = pair_with(counter.new[0], question()).days
    first = send(client, counter, old=old[0].item_no, id=same)
    count = Entry.objects.count()
    address = f"{reverse('counter')}?to={counter.hand.pk}&new={counter.new[0].item_no}"
    fields = {"id": same, "days": days, "shelf": counter.shelf.pk, "way": "here", "old": old[0].item_no}
    again = client.post(address, fields)
    assert (first.status_code, again.status_code) == (302, 302)
    assert Entry.objects.count() == count
    assert "recorded before, once" in told(again)[-1]


def test_a_first_issue_sent_twice_is_told_again_though_the_person_now_has_a_pair(client, counter):
    same, days = str(uuid4()), pair_with(counter.new[0], question()).days
    assert [send(client, counter, id=same, days=days).status_code for _once in "ab"] == [302, 302]
    assert Entry.objects.filter(kind="issued").count() == 2


def test_one_id_for_two_exchanges_is_refused(client, counter):
    same, other = str(uuid4()), good_pair()
    send(client, counter, id=same)
    answer = send(client, counter, id=same, new=other, way="more")
    assert answer.status_code == 422
    assert "sent before with other content" in page(answer)
    assert where(*other) == ["The shelf", "The shelf"]


@pytest.mark.parametrize("fields", [{"id": ""}, {"id": "x"}, {"days": "x"}, {"days": ""}, {"shelf": "0"}])
def test_a_form_that_somebody_bent_records_nothing(client, counter, fields):
    old = worn_pair(counter.hand)
    assert send(client, counter, old=old[0].item_no, **fields).status_code == 422
    assert where(*counter.new, *old) == ["The shelf", "The shelf", "Dev", "Dev"]


@pytest.mark.parametrize("pairs", [1, 6])
def test_the_queries_do_not_grow_with_what_the_person_has(client, counter, pairs, django_assert_num_queries):
    for _one in range(pairs):
        worn_pair(counter.hand)
    address, _first = form_of(client, counter)
    with django_assert_num_queries(QUERIES):
        client.get(address)


QUERIES = 28


# The issue of any one piece, on its own page


@pytest.mark.parametrize(("left", "asked"), [(9, True), (27, True), (28, False)])
def test_nothing_is_issued_on_its_own_page_with_few_days_and_without_a_word(client, counter, left, asked):
    anniversary = builders.today() + timedelta(days=left + 1)
    blanket = builders.blanket(received_on=ago(500))
    builders.tested(blanket, on=anniversary.replace(year=anniversary.year - 1), purpose="first")
    address = f"/items/{blanket.item_no}/do/issue/"
    words = page(client.get(address))
    assert (f"it gives {left} days only" in words) is asked
    fields = {"id": str(uuid4()), "to": counter.hand.pk}
    if asked:
        refused = client.post(address, fields)
        assert refused.status_code == 422
        assert "Few days are left." in page(refused)
        assert where(blanket) == ["The shelf"]
        fields["short"] = "on"
    assert client.post(address, fields).status_code == 302
    assert where(blanket) == ["Dev"]
