"""What I hold, and gear that changes trucks in the field: the record says the same everywhere."""

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from gear import queries
from gear.models import Entry, ItemState, Submission
from gear.queries.loads import load_of
from tests import builders
from tests.inspections import fielding

pytestmark = pytest.mark.django_db


@pytest.fixture
def crew(cast):
    """Dev has a good pair and a glove on hold; T-7 is the truck of crew 7 and T-9 of nobody."""
    cast.hand = builders.holder("person", "Dev", person=cast.dev, crew=cast.crew, depot=cast.depot)
    cast.t7 = builders.holder("truck", "T-7", crew=cast.crew, depot=cast.depot)
    cast.t9 = builders.holder("truck", "T-9", crew=None, depot=cast.depot)
    cast.shelf = builders.holder("shelf", "Returns", depot=cast.depot)
    day = builders.today() - timedelta(days=20)
    cast.pair = fielding.good_pair(cast.hand, tested_on=day)
    cast.blanket = builders.blanket("B-00007")
    builders.tested(cast.blanket, on=day)
    builders.issued(cast.blanket, on=day, to=cast.t7)
    cast.held = fielding.good_pair(cast.hand, tested_on=day)[0]
    builders.happened(cast.held, "held", reason="a cut near the cuff")
    return cast


def numbers(holder):
    return sorted(one.facts.item_no for one in load_of(holder, queries.question()))


def moved(item, to, **more):
    return fielding.record("moved", item, to={"kind": to.kind, "name": to.name}, **more)


def place(item):
    return ItemState.objects.get(item=item).holder.name


def test_the_page_shows_what_the_custody_table_has_worst_first(crew):
    reader = Client()
    reader.force_login(crew.dev)
    page = reader.get("/my/gear/").context
    assert sorted(row["item_no"] for row in page["own"]) == numbers(crew.hand)
    assert [row["verdict"] for row in page["own"]] == ["stop"] * 2 + ["good"] * 2  # a hold stops the mate
    assert [(name, [row["item_no"] for row in rows]) for name, rows in page["trucks"]] == [
        ("T-7", ["B-00007"])
    ]
    assert all(row["todo"] for row in page["own"] if row["verdict"] == "stop")


@pytest.mark.parametrize("address", ["/my/gear/", "/my/pin/", "/my/password/"])
def test_the_pages_about_oneself_lead_to_each_other(cast, address):
    reader = Client()
    reader.force_login(cast.dev)
    page = reader.get(address).content.decode()
    assert 'class="who" href="/my/gear/"' in page
    for other in ("/my/gear/", "/my/pin/", "/my/password/"):
        current = ' aria-current="page"' if other == address else ""
        assert f'<li><a href="{other}"{current}>' in page


def test_somebody_without_gear_is_told_so(cast):
    reader = Client()
    reader.force_login(cast.halvard)
    assert "Nothing is recorded with you" in reader.get("/my/gear/").content.decode()


def test_the_number_of_queries_does_not_grow_with_the_pieces(crew, django_assert_max_num_queries):
    reader = Client()
    reader.force_login(crew.dev)
    reader.get("/my/gear/")
    for _more in range(6):
        fielding.good_pair(crew.hand, tested_on=builders.today() - timedelta(days=20))
    with django_assert_max_num_queries(40):
        reader.get("/my/gear/")


def test_a_loan_in_the_field_changes_the_load_lists_of_both_trucks_once(crew):
    phone = fielding.phone_of(crew.dev)
    loan = moved(crew.blanket, crew.t9)
    for expected in ("recorded", "already"):
        assert fielding.outcomes(fielding.send(phone, loan)) == [(expected, "")]
    assert (numbers(crew.t7), numbers(crew.t9)) == ([], ["B-00007"])
    entry = Entry.objects.get(kind="moved", item=crew.blanket)
    assert (entry.by, entry.via) == (crew.dev, "field")


def test_the_mate_goes_with_the_piece_or_neither_does(crew):
    left, right = crew.pair
    phone = fielding.phone_of(crew.dev)
    assert fielding.outcomes(fielding.send(phone, moved(left, crew.t7, **{"with": [right.item_no]}))) == [
        ("recorded", "")
    ]
    assert (place(left), place(right)) == ("T-7", "T-7")
    unknown = moved(left, crew.t9, **{"with": ["G-99999"]})
    assert fielding.outcomes(fielding.send(phone, unknown)) == [("refused", "BAD_RECORD")]
    assert place(left) == "T-7"


def test_the_mate_of_a_piece_that_is_there_already_still_goes(crew):
    left, right = crew.pair
    phone = fielding.phone_of(crew.dev)
    for loan in (moved(left, crew.t7), moved(left, crew.t7, **{"with": [right.item_no]})):
        assert fielding.outcomes(fielding.send(phone, loan)) == [("recorded", "")]
    assert (place(left), place(right)) == ("T-7", "T-7")
    assert Entry.objects.filter(kind="moved", item__in=crew.pair).count() == 2


def test_what_is_not_good_goes_to_a_shelf_alone(crew):
    phone = fielding.phone_of(crew.dev)
    assert fielding.outcomes(fielding.send(phone, moved(crew.held, crew.t9))) == [("refused", "NOT_GOOD")]
    assert fielding.outcomes(fielding.send(phone, moved(crew.held, crew.shelf))) == [("recorded", "")]
    assert place(crew.held) == "Returns"


@pytest.mark.parametrize("first", ["early", "late"])
def test_of_two_loans_the_later_by_its_true_time_counts_and_both_stay(crew, first):
    now = timezone.now()
    builders.holder("truck", "T-11", depot=crew.depot)
    early = moved(crew.blanket, crew.t9, occurred_at=fielding.at(now - timedelta(hours=2)))
    late = fielding.record(
        "moved",
        crew.blanket,
        person="marisol",
        to={"kind": "truck", "name": "T-11"},
        occurred_at=fielding.at(now - timedelta(hours=1)),
    )
    sendings = [(crew.dev, early), (crew.marisol, late)]
    for person, one in sendings if first == "early" else reversed(sendings):
        assert fielding.outcomes(fielding.send(fielding.phone_of(person), one)) == [("recorded", "")]
    assert place(crew.blanket) == "T-11"
    assert Entry.objects.filter(kind="moved", item=crew.blanket).count() == 2


def test_two_people_may_record_the_same_loan(crew):
    for person in (crew.dev, crew.marisol):
        loan = moved(crew.blanket, crew.t9, person=person.username)
        assert fielding.outcomes(fielding.send(fielding.phone_of(person), loan)) == [("recorded", "")]
    assert Entry.objects.filter(kind="moved", item=crew.blanket).count() == 1
    assert Submission.objects.filter(act="field.moved").count() == 2


@pytest.mark.parametrize("to", [None, "T-9", {"kind": "truck"}, {"kind": "truck", "name": "T-404"}])
def test_a_loan_to_nowhere_is_refused(crew, to):
    loan = fielding.record("moved", crew.blanket, to=to)
    assert fielding.outcomes(fielding.send(fielding.phone_of(crew.dev), loan)) == [("refused", "BAD_RECORD")]
