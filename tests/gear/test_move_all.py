"""A whole truck at once: all that was shown, or nothing; what is not good goes aside or stays."""

import re
from uuid import uuid4

import pytest
from django.db import OperationalError, connection
from django.urls import reverse

from gear.actions.acting import Act, Refused
from gear.actions.moving import Removal, load_to, move_everything
from gear.models import Entry, ItemState, Refusal
from gear.permissions import NotAllowed
from tests import builders
from tests.faults.writing import FailNth
from tests.gear.act_forms import told
from tests.gear.test_exchange import ago, good_pair

pytestmark = pytest.mark.django_db


@pytest.fixture
def truck(cast):
    """T-01 has a pair, four good blankets, a held one, a lost one, a destroyed one; T-02 has nothing."""
    cast.one, cast.two = builders.holder("truck", "T-01"), builders.holder("truck", "T-02")
    cast.shelf = builders.holder("shelf", "Returns")
    cast.pair = good_pair("P-0100")
    cast.good = [builders.blanket(f"B-{n}") for n in range(4)]
    cast.held, cast.lost, cast.ghost = (builders.blanket(f"B-{name}") for name in ("held", "lost", "ghost"))
    everything = [*cast.good, cast.held, cast.lost, cast.ghost]
    builders.tested(*everything, on=ago(30))
    builders.issued(*cast.pair, *everything, to=cast.one, on=ago(20))
    builders.happened(cast.held, "held", reason="odd smell", on=ago(10))
    builders.happened(cast.lost, "lost", reason="not seen", on=ago(10))
    builders.happened(cast.ghost, "rejected", reason="cut", on=ago(10))
    builders.happened(cast.ghost, "destroyed", reason="cut up", witness="ines", on=ago(9))
    return cast


def where(*items):
    return [ItemState.objects.get(item=one).holder.name for one in items]


def removal(truck, *, source=None, to=None, only=(), **stated):
    source, to = source or truck.one, to or truck.two
    return Removal(source, to, **{"shown": load_to(source, to, only=only).shown, "only": only, **stated})


def refused(truck, wanted):
    before = Entry.objects.count()
    with pytest.raises(Refused) as error:
        move_everything(wanted, act=Act(truck.bertrand))
    assert Entry.objects.count() == before
    assert Refusal.objects.filter(code=error.value.code).exists()
    return error.value.code


def test_everything_good_goes_under_one_number_and_the_rest_stays(truck):
    act = Act(truck.bertrand)
    made = move_everything(removal(truck, note="T-01 broke down"), act=act)
    assert where(*truck.pair, *truck.good) == ["T-02"] * 6
    assert where(truck.held, truck.lost, truck.ghost) == ["T-01"] * 3
    assert {entry.facts["batch"] for entry in made} == {str(act.id)}
    assert {entry.facts["note"] for entry in made} == {"T-01 broke down"}


def test_what_is_not_good_goes_aside_in_the_same_act(truck):
    move_everything(removal(truck, aside=truck.shelf), act=Act(truck.bertrand))
    assert where(truck.held, truck.lost, truck.ghost) == ["Returns", "T-01", "T-01"]


def test_to_a_shelf_all_goes_but_what_nobody_can_carry(truck):
    move_everything(removal(truck, to=truck.shelf), act=Act(truck.bertrand))
    assert where(*truck.good, truck.held) == ["Returns"] * 5
    assert where(truck.lost, truck.ghost) == ["T-01", "T-01"]


def test_a_list_that_changed_since_it_was_shown_moves_nothing(truck):
    wanted = removal(truck)
    builders.happened(truck.good[0], "held", reason="cut")
    assert refused(truck, wanted) == "LIST_CHANGED"
    wanted = removal(truck)
    late = builders.blanket("B-late")
    builders.tested(late)
    builders.issued(late, to=truck.one)
    assert refused(truck, wanted) == "LIST_CHANGED"
    assert where(*truck.good) == ["T-01"] * 4


def test_what_cannot_be_asked_for(truck):
    assert refused(truck, removal(truck, to=truck.one)) == "SAME_PLACE"
    assert refused(truck, removal(truck, aside=truck.two)) == "ASIDE_IS_IN_HANDS"
    assert refused(truck, removal(truck, source=truck.two, to=truck.one)) == "NOTHING_TO_MOVE"


@pytest.mark.parametrize("role", ["supervisor", "auditor", "administrator"])
def test_only_worker_foreman_and_clerk_move(truck, role):
    with pytest.raises(NotAllowed):
        move_everything(removal(truck), act=Act(builders.person(role)))


def test_gear_of_another_depot_is_not_moved(truck):
    olive = builders.person("clerk", "olive", depot=builders.depot("Hill depot"))
    with pytest.raises(NotAllowed, match="another depot"):
        move_everything(removal(truck), act=Act(olive))
    assert where(*truck.good) == ["T-01"] * 4


def test_one_glove_that_is_named_takes_its_mate_along(truck):
    move_everything(removal(truck, only=(truck.pair[0].item_no,)), act=Act(truck.dev))
    assert where(*truck.pair, *truck.good) == ["T-02", "T-02", *["T-01"] * 4]


def test_a_failure_in_the_middle_leaves_every_piece_where_it_was(truck):
    wanted, before = removal(truck, aside=truck.shelf), Entry.objects.count()
    nth = 0
    while True:
        nth += 1
        fault = FailNth(nth)
        try:
            with connection.execute_wrapper(fault):
                move_everything(wanted, act=Act(truck.bertrand, id=uuid4()))
        except OperationalError:
            assert where(*truck.pair, *truck.good, truck.held) == ["T-01"] * 7
            assert Entry.objects.count() == before
            continue
        break
    assert nth > 15
    assert where(*truck.pair, *truck.good, truck.held) == [*["T-02"] * 6, "Returns"]


# The page


def page(response):
    return " ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split())


def fields_of(response):
    html = response.content.decode()
    return dict(re.findall(r'<input type="hidden" name="(id|shown)" value="([^"]+)"', html))


def test_the_list_is_shown_first_and_then_moved_as_one_act(client, truck):
    client.force_login(truck.bertrand)
    address = f"{reverse('move_all')}?source={truck.one.pk}&to={truck.two.pk}"
    shown = client.get(address)
    assert "6 pieces go from T-01 to T-02" in page(shown)
    assert "1 piece is not good: it can only go to a shelf, a bench or a lab" in page(shown)
    assert "2 pieces stay on record where they are" in page(shown)
    sent = client.post(address, {**fields_of(shown), "aside": truck.shelf.pk, "note": "broke down"})
    assert told(sent) == ["7 pieces moved to T-02."]
    after = page(client.get(sent.url))
    assert "What Truck T-02, Crew 7 has now" in after
    assert "broke down" in after
    assert where(truck.held) == ["Returns"]
    again = client.post(address, {**fields_of(shown), "aside": truck.shelf.pk, "note": "broke down"})
    assert again.status_code == 302
    assert Entry.objects.filter(kind="moved").count() == 6


def test_a_few_pieces_are_lent_and_both_load_lists_are_right(client, truck):
    client.force_login(truck.dev)
    numbers = [one.item_no for one in truck.good[:2]]
    address = f"{reverse('move_all')}?source={truck.one.pk}&to={truck.two.pk}&only={'%0A'.join(numbers)}"
    shown = client.get(address)
    assert "2 pieces go from T-01 to T-02" in page(shown)
    client.post(address, {**fields_of(shown), "note": "lent until Friday"})
    lists = {
        holder.name: client.get(reverse("move_all"), {"source": holder.pk}).content.decode()
        for holder in (truck.one, truck.two)
    }
    for one in truck.good[:2]:
        assert f">{one.item_no}</a></th>" in lists["T-02"]
        assert f">{one.item_no}</a></th>" not in lists["T-01"]
    for one in truck.good[2:]:
        assert f">{one.item_no}</a></th>" in lists["T-01"]
    assert lists["T-02"].count("lent until Friday") == 2


def test_what_is_shown_again_after_a_change_can_be_sent(client, truck):
    client.force_login(truck.bertrand)
    address = f"{reverse('move_all')}?source={truck.one.pk}&to={truck.two.pk}"
    shown = client.get(address)
    builders.happened(truck.good[0], "held", reason="cut")
    sent = client.post(address, fields_of(shown))
    assert sent.status_code == 422
    assert "has changed since it was shown" in page(sent)
    assert client.post(address, fields_of(sent)).status_code == 302
    assert where(*truck.good) == ["T-01", "T-02", "T-02", "T-02"]


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("source=0&to=0", "Select a valid choice"),
        ("source={one}&to={one}", "This is where it is already."),
        ("source={one}&to={two}&only=NOPE", "There is no item NOPE in the book."),
        ("source={two}&to={one}&only=B-1", "B-1 is not recorded with T-02."),
    ],
)
def test_a_choice_that_means_nothing_is_told(client, truck, query, sentence):
    client.force_login(truck.bertrand)
    query = query.format(one=truck.one.pk, two=truck.two.pk)
    response = client.get(f"{reverse('move_all')}?{query}")
    assert response.status_code == 422
    assert sentence in page(response)


@pytest.mark.parametrize("pieces", [1, 9])
def test_the_queries_of_the_list_do_not_grow(client, cast, pieces, django_assert_num_queries):
    client.force_login(cast.bertrand)
    truck, other = builders.holder("truck", "T-07"), builders.holder("truck", "T-08")
    items = [builders.blanket() for _one in range(pieces)]
    builders.tested(*items)
    builders.issued(*items, to=truck)
    address = f"{reverse('move_all')}?source={truck.pk}&to={other.pk}"
    client.get(address)
    with django_assert_num_queries(QUERIES):
        client.get(address)


QUERIES = 21
