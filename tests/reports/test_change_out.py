"""The change-out list as page and paper: whose people, which pairs, one crew to a sheet."""

import io
import re
from datetime import timedelta

import pypdf
import pytest
from django.urls import reverse

from gear.actions.acting import Act
from gear.actions.exchange import Exchange, exchange
from gear.queries import question
from gear.queries.pairs import pair_with
from reports.queries import change_out_list
from reports.rules.overdue import Scope
from tests import builders
from tests.gear.test_exchange import ago, good_pair, worn_pair

pytestmark = pytest.mark.django_db


@pytest.fixture
def crews(cast):
    """Dev of crew 7 is due in 9 days, Marisol in 60; Rasmus of crew 21 at Upper Clay is over; crew 3 has nothing."""
    cast.crew.phone = "555-0107"
    cast.crew.save()
    clay = builders.depot("Upper Clay")
    far = builders.crew("Crew 21", of=clay)
    builders.crew("Crew 3", of=cast.depot)
    cast.hand = builders.holder("person", "Dev", person=cast.dev)
    cast.due = due_in(9, cast.hand)
    cast.later = due_in(60, builders.holder("person", "Marisol", person=cast.marisol))
    cast.over = due_in(-4, builders.holder("person", "Rasmus", crew=far, depot=clay), size="9")
    cast.ready = good_pair("S-10")
    cast.far = far
    return cast


def due_in(days, person, **columns):
    """A pair worn for some months whose last good day is so many days ahead."""
    anniversary = builders.today() + timedelta(days=days + 1)
    month, year = (anniversary.month - 6, anniversary.year) if anniversary.month > 6 else (
        anniversary.month + 6, anniversary.year - 1,
    )  # fmt: skip
    tested = anniversary.replace(year=year, month=month, day=min(anniversary.day, 28))
    pair = builders.pair(received_on=ago(900), **columns)
    builders.tested(*pair, on=tested)
    builders.issued(*pair, to=person, on=tested - timedelta(days=30))
    return pair


def page_of(client, person, query=""):
    client.force_login(person)
    answer = client.get(reverse("change_out") + query)
    return answer, " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def test_who_is_due_stands_there_with_the_pair_that_lies_ready(client, crews):
    _answer, words = page_of(client, crews.orla)
    assert "2 pairs are due within 14 days. For 1 no pair lies ready." in words
    assert "Call bertrand: 555-0107" in words
    assert crews.due[0].item_no in words
    assert "S-10" in words
    assert crews.later[0].item_no not in words
    assert "Nothing due, and so left out: Crew 3." in words
    assert "No pair that fits lies ready." in words


def test_a_foreman_sees_his_crew_alone(client, crews):
    _answer, words = page_of(client, crews.bertrand)
    assert "Dev" in words
    assert crews.due[0].item_no in words
    assert "Rasmus" not in words
    assert "Crew 3" not in words


def test_somebody_bound_to_a_depot_sees_its_crews(client, crews):
    crews.orla.depot = crews.depot
    crews.orla.save()
    _answer, words = page_of(client, crews.orla)
    assert "Rasmus" not in words
    assert "left out: Crew 3." in words


def test_a_pair_that_was_replaced_and_kept_is_not_due_again(client, crews):
    wanted = Exchange(
        crews.hand, crews.ready[0], tuple(crews.due), None, pair_with(crews.ready[0], question()).days
    )
    exchange(wanted, act=Act(crews.orla))
    _answer, words = page_of(client, crews.orla)
    assert "1 pair is due" in words
    assert "Replaced already and not returned" in words


@pytest.mark.parametrize("days", ["x", "-1", "181", "1e2", "99999999999"])
def test_days_that_cannot_be_read_give_no_list(client, crews, days):
    answer, words = page_of(client, crews.orla, f"?days={days}")
    assert answer.status_code == 400
    assert "give a whole number from 0 to 180" in words
    assert crews.due[0].item_no not in words


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_on_paper_every_crew_has_a_sheet_of_its_own_with_foreman_and_phone(client, crews, paper, settings):
    settings.DEMO = True
    client.force_login(crews.orla)
    answer = client.get(reverse("change_out_pdf"), {"paper": paper})
    sheets = [
        " ".join(page.extract_text().split()) for page in pypdf.PdfReader(io.BytesIO(answer.content)).pages
    ]
    assert len(sheets) == 3
    assert "Crew 7, Harbour depot Call bertrand: 555-0107" in sheets[0]
    assert crews.due[0].item_no in sheets[0]
    assert "Rasmus" not in sheets[0]
    assert "Crew 21, Upper Clay" in sheets[1]
    assert "Nothing due, and so left out: Crew 3." in sheets[2]
    for number, words in enumerate(sheets, start=1):
        for wanted in (
            "Change-out list",
            "As of",
            "DEMO",
            f"Page {number} of 3",
            "Whose gear: The whole book.",
        ):
            assert wanted in words
    for wanted in ("Old in hand", "Signature", "S-10"):
        assert wanted in sheets[0]


def test_no_other_paper_is_known(client, crews):
    client.force_login(crews.orla)
    assert client.get(reverse("change_out_pdf"), {"paper": "a3"}).status_code == 400


@pytest.mark.parametrize("people", [1, 6])
def test_the_queries_do_not_grow_with_people_and_pairs(cast, people, django_assert_num_queries):
    for number in range(people):
        due_in(5, builders.holder("person", f"Worker {number}"))
        good_pair()
    worn_pair(builders.holder("person", "Dev"))
    asked = question()
    with django_assert_num_queries(QUERIES):
        assert change_out_list(asked, scope=Scope(), within=14).count == people


QUERIES = 20
