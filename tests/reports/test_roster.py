"""Who is clear for so many days: the largest number, held against trying every choice, and the page."""

from itertools import combinations, product

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from gear.actions.acting import Act
from gear.actions.kits import set_kit
from gear.rules.kits import Need
from reports.rules import roster as rules
from reports.rules.roster import Asked, Held, Person, asked_of, most_crews, roster, standing_of
from tests import builders
from tests.inspections.job_crew import ready_crew, stocked, worn
from tests.rules.histories import FEDERAL

PACK = FEDERAL.pack
KIT = (Need("glove", "2", 1), Need("glove", "0", 1), Need("sleeve", "2", 1))


# What is asked for
def test_the_highest_line_of_the_kit_takes_the_class_that_is_needed_and_the_others_stay():
    assert asked_of(KIT, "3", PACK) == (
        Asked("glove", ("3", "4"), 1),
        Asked("glove", ("0",), 1),
        Asked("sleeve", ("3", "4"), 1),
    )
    assert asked_of(KIT, "0", PACK)[0] == Asked("glove", ("2", "3", "4"), 1)
    protectors = asked_of((Need("protector", "", 2),), "2", PACK)
    assert protectors == (Asked("protector", None, 2), Asked("glove", ("2", "3", "4"), 1))


@pytest.mark.parametrize(("high", "low", "sleeve"), list(product([0, 1], [0, 1], [0, 1])))
def test_a_person_is_clear_only_with_every_line(high, low, sleeve):
    has = (
        [Held("glove", "2", "10")] * high + [Held("glove", "0", "10")] * low + [Held("sleeve", "2")] * sleeve
    )
    found = standing_of(Person("Dev", size="10", has=tuple(has)), asked_of(KIT, "2", PACK))
    assert found.clear is bool(high and low and sleeve)
    assert len(found.lacks) == 3 - high - low - sleeve


def test_gloves_of_another_size_fill_nothing():
    has = (Held("glove", "2", "9"),)
    assert not standing_of(Person("Dev", size="10", has=has), (Asked("glove", ("2",), 1),)).clear


def test_who_has_no_size_on_record_is_not_made_clear():
    found = roster([Person("Dev", "Crew 7")], [Held("glove", "2", "")], (Asked("glove", ("2",), 1),))
    assert (found.kitted, found.crews) == (frozenset(), 0)


def test_a_crew_counts_only_whole():
    asked = (Asked("glove", ("2",), 1),)
    has = (Held("glove", "2", "10"),)
    people = [Person("Dev", "Crew 7", size="10", has=has), Person("Marisol", "Crew 7", size="9")]
    assert roster(people, [], asked).crews == 0
    found = roster(people, [Held("glove", "2", "9")], asked)
    assert (found.crews_now, found.crews, found.kitted) == (0, 1, frozenset({"Marisol"}))


# The largest number
def served(people, stock, asked):
    """Whether these people can all be kitted at once: by trying to hand every single thing out."""
    demands = [
        (line, person.size)
        for person in people
        for line, count in standing_of(person, asked).lacks
        for _one in range(count)
    ]

    def hand_out(open_ones, left):
        if not open_ones:
            return True
        (line, size), *rest = open_ones
        return any(
            hand_out(rest, left[:place] + left[place + 1 :])
            for place, one in enumerate(left)
            if one.kind == line.kind and line.filled_by(one.cls) and (one.kind != "glove" or one.size == size)
        )

    return hand_out(demands, list(stock))


def enumerated(groups, stock, asked):
    """The most groups of people that can be kitted at once, by trying every choice of them."""
    for count in range(len(groups), 0, -1):
        for chosen in combinations(groups, count):
            if served([one for group in chosen for one in group], stock, asked):
                return count
    return 0


classes = st.sampled_from(["0", "2", "3"])
sizes = st.sampled_from(["9", "10"])
things = st.one_of(
    st.builds(Held, st.just("glove"), classes, sizes),
    st.builds(Held, st.just("sleeve"), classes),
    st.builds(Held, st.just("protector"), st.just("")),
)
kits = st.sampled_from(
    [KIT, (Need("glove", "2", 2), Need("sleeve", "2", 1)), (Need("glove", "2", 1), Need("glove", "", 1)),
     (Need("glove", "2", 1), Need("protector", "", 1), Need("sleeve", "2", 1))]
)  # fmt: skip
crews = st.sampled_from(["Crew 1", "Crew 2", "Crew 3"])
people = st.lists(
    st.tuples(crews, sizes, st.lists(things, max_size=2).map(tuple)), min_size=1, max_size=5
).map(lambda rows: [Person(f"P{n}", crew, "", size, has) for n, (crew, size, has) in enumerate(rows)])


@given(crew=people, stock=st.lists(things, max_size=5), kit=kits, cls=st.sampled_from(["2", "3"]))
def test_the_most_people_and_crews_are_as_many_as_trying_every_choice_finds(crew, stock, kit, cls):
    asked = asked_of(kit, cls, PACK)
    found = roster(crew, stock, asked)
    open_ones = [one.person for one in found.standings if not one.clear]
    assert len(found.kitted) == enumerated([[one] for one in open_ones], stock, asked)
    assert served([one for one in open_ones if one.name in found.kitted], stock, asked)
    by_crew = {}
    for one in found.standings:
        by_crew.setdefault(one.person.crew, []).append(one)
    missing = [
        [one.person for one in members if not one.clear]
        for members in by_crew.values()
        if not all(one.clear for one in members)
    ]
    assert found.crews - found.crews_now == enumerated(missing, stock, asked)
    assert found.proven


@given(crew=people, stock=st.lists(things, max_size=4), more=things)
def test_more_on_the_shelves_never_clears_fewer(crew, stock, more):
    asked = asked_of(KIT, "2", PACK)
    before, after = roster(crew, stock, asked), roster(crew, [*stock, more], asked)
    assert len(before.kitted) <= len(after.kitted)
    assert before.crews <= after.crews


def test_a_hundred_and_twenty_people_are_settled_at_once():
    asked = asked_of(KIT, "3", PACK)
    crowd = [Person(f"W{n}", f"Crew {n % 25}", size=str(8 + n % 5)) for n in range(120)]
    stock = [Held("glove", cls, str(8 + n % 5)) for n in range(60) for cls in ("0", "3")]
    found = roster(crowd, [*stock, *(Held("sleeve", "4") for _n in range(40))], asked)
    assert len(found.kitted) == 40
    assert (
        found.crews == 9
    )  # five of four people each take 20 of 40 pairs of sleeves, four of five take the rest


def test_a_search_that_is_cut_short_says_so(monkeypatch):
    monkeypatch.setattr(rules, "MOST_STEPS", 2)
    together = {f"Crew {n}": (("a", 1 + n % 2), ("b", 2 - n % 2)) for n in range(8)}
    assert most_crews(together, {"a": 5, "b": 5})[1] is False


# On the page
@pytest.fixture
def storm(cast, client):
    """Dev is clear in class 2 for long, Marisol has nothing that lasts, one pair of her size lies on the shelf."""
    made = ready_crew(cast)
    marisol = builders.holder("person", "Marisol", person=cast.marisol, crew=cast.crew, depot=cast.depot)
    worn(marisol, size="9", tested=180)
    stocked(made.shelf, cls="2", size="9")
    client.force_login(cast.ines)
    made.client = client
    return made


def text_of(answer):
    return " ".join(b"".join(answer).decode().split())


@pytest.mark.django_db
def test_the_page_tells_who_is_clear_who_could_be_and_what_is_missing(storm):
    page = text_of(storm.client.get(reverse("roster"), {"days": "30", "cls": "2"}))
    clear, shelf, short = (page.split(f'id="{name}"')[1] for name in ("clear", "shelf", "short"))
    assert "Dev" in clear.split("</section>")[0]
    assert "Marisol" in shelf.split("</section>")[0]
    assert "1 x pair of gloves, class 2 or higher" in shelf
    assert "Not clear: 0" in short
    assert "Not clear: 2" in text_of(storm.client.get(reverse("roster"), {"days": "30", "cls": "3"}))


@pytest.mark.django_db
def test_a_pair_on_the_shelf_serves_one_person_only(storm):
    worn(builders.holder("person", "Gil", crew=storm.crew), size="9", tested=180)
    page = text_of(storm.client.get(reverse("roster"), {"days": "30"}))
    assert "Clear with what lies on shelves: 1" in page
    assert "Not clear: 1" in page


@pytest.mark.django_db
def test_a_truck_narrows_it_to_its_crew(storm):
    builders.holder("person", "Wendell", crew=builders.crew("Crew 9"))
    everybody = text_of(storm.client.get(reverse("roster"), {"days": "30"}))
    crew = text_of(storm.client.get(reverse("roster"), {"days": "30", "truck": storm.truck.pk}))
    assert "Wendell" in everybody
    assert "Wendell" not in crew


@pytest.mark.django_db
@pytest.mark.parametrize(
    "wrong", [{"days": "0"}, {"days": "61"}, {"days": "x"}, {"cls": "9"}, {"truck": "0"}, {"truck": "x"}]
)
def test_what_cannot_be_asked_is_refused_in_a_sentence(storm, wrong):
    for name in ("roster", "roster_csv"):
        answer = storm.client.get(reverse(name), wrong)
        assert answer.status_code == 400
        assert 'role="alert"' in text_of(answer)


@pytest.mark.django_db
def test_the_file_holds_everybody_once(storm):
    lines = b"".join(storm.client.get(reverse("roster_csv"), {"days": "30"})).decode().splitlines()
    assert lines[0] == "person,crew,depot,size,state,lacks,class,last_day"
    assert [line.split(",")[0::4][:2] for line in lines[1:]] == [["Dev", "CLEAR"], ["Marisol", "FROM_SHELF"]]


@pytest.mark.django_db
def test_the_roster_takes_as_many_queries_for_few_as_for_many(storm):
    def count():
        with CaptureQueriesContext(connection) as captured:
            assert storm.client.get(reverse("roster"), {"days": "30"}).status_code == 200
        return len(captured)

    count()
    few = count()
    for number in range(4):
        worn(builders.holder("person", f"Worker {number}", crew=builders.crew(f"Crew {number}")))
        stocked(storm.shelf)
    set_kit([Need("glove", "2", 1), Need("sleeve", "2", 1), Need("protector", "", 1)], act=Act(storm.ines))
    assert count() == few
