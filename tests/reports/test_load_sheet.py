"""A truck's load sheet on paper."""

import io
from datetime import timedelta
from decimal import Decimal

import pypdf
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from gear.actions.acting import Act
from gear.queries import question
from inspections.actions.loads import add_class, fit_truck
from inspections.rules.loadlist import Line
from reports.pdf.loadsheet import load_sheet_html
from reports.queries.loadsheet import load_sheet
from reports.wording.loadsheet import tell
from tests import builders
from tests.inspections.job_crew import checked, ready_crew
from tests.inspections.walking import gear_of_twelve, piece, truck, walked

pytestmark = pytest.mark.django_db


@pytest.fixture
def twelve(cast):
    """Three blankets tested today, one never tested, and Dev's pair that runs out; a walk that missed one."""
    gear_of_twelve(3)
    builders.blanket("B-9", at=truck())
    dev = builders.holder("person", "Dev", person=cast.dev)
    pair = builders.pair("P-1")
    builders.tested(*pair, on=builders.today() - timedelta(days=180))
    builders.issued(*pair, to=dev, on=builders.today() - timedelta(days=180))
    fit_truck(
        truck(), add_class("Bucket truck", [Line("blanket", 5, "2")], act=Act(cast.ines)), act=Act(cast.orla)
    )
    walked(piece("B-1"), piece("B-2", "not_seen"), outcome="unknown")
    cast.hand = dev
    return cast


def told(people=(), days=0):
    asked = question()
    load = load_sheet(truck(), asked, back_on=asked.as_of + timedelta(days=days), people=people)
    return tell(load, made_at=asked.asked_at, zone="America/New_York")


def test_the_sheet_names_every_piece_with_its_code_day_answer_and_use(twelve):
    paper = told([twelve.hand])
    assert [group.name for group in paper.groups] == ["Truck T-12, Crew 7", "Dev, Crew 7"]
    first, *_rest, untested = paper.groups[0].rows
    assert (first.item_no, first.verdict, first.use) == ("B-1", "good", "17,000 V")
    assert (untested.item_no, untested.due, untested.words) == ("B-9", "–", "STOP")
    assert "New, not tested." in untested.why
    assert [one.item_no for one in paper.blocked] == ["B-9"]


def test_what_runs_out_before_the_return_is_stopped_and_says_both_days(twelve):
    paper = told([twelve.hand], days=14)
    early = [one for one in paper.groups[1].rows if one.early]
    assert len(early) == 2
    assert all("you return" in one.why for one in early)
    assert {one.item_no for one in early} < {one.item_no for one in paper.blocked}


def test_the_list_counts_what_is_on_record_and_good_through_the_return(twelve):
    assert [(one.aboard, one.short) for one in told().needed] == [(3, 2)]


def test_the_last_walk_and_what_it_did_not_see_stand_there(twelve):
    paper = told()
    assert "1 of 2 seen" in paper.walk
    assert paper.not_seen == ("B-2",)


def test_the_sheet_needs_no_server(twelve):
    html = load_sheet_html(told())
    assert not [word for word in ("src=", "href=", "url(", "@import", "<script") if word in html]


def test_the_job_check_that_speaks_for_the_truck_stands_there_with_when_what_and_whose(cast, client):
    crew = ready_crew(cast)
    client.force_login(crew.dev.person)

    def words():
        content = client.get(reverse("load_sheet", args=[crew.truck.pk])).content
        return " ".join(one.extract_text() for one in pypdf.PdfReader(io.BytesIO(content)).pages)

    assert "Job check of" not in words()
    checked(crew, fault_ka=Decimal(90))
    told = " ".join(words().split())
    for wanted in (
        "Job check of",
        crew.bertrand.name,
        "Too small for 90 kA.",
        "12.47 kV",
        "Not shown to be in date",
    ):
        assert wanted in told
    assert "Class 2 or higher covers 12.47 kV." in told


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_on_paper_it_has_its_frame_on_every_page_and_lines_to_write_on_last(twelve, client, paper):
    client.force_login(twelve.dev)
    answer = client.get(reverse("load_sheet", args=[truck().pk]), {"paper": paper})
    assert answer["Content-Type"] == "application/pdf"
    pages = [
        " ".join(one.extract_text().split()) for one in pypdf.PdfReader(io.BytesIO(answer.content)).pages
    ]
    for number, words in enumerate(pages, start=1):
        for wanted in (
            "Load sheet, Truck T-12",
            "As of",
            "Rule pack: us_federal 1",
            f"Page {number} of {len(pages)}",
        ):
            assert wanted in words
    for wanted in ("B-1", "17,000 V", "Not seen: B-2", "Walked by, name and signature", "back by"):
        assert wanted in " ".join(pages[:-1])
    assert "written by hand" in pages[-1]


def test_no_other_paper_is_known_and_a_day_that_is_past_counts_as_today(twelve, client):
    client.force_login(twelve.dev)
    assert client.get(reverse("load_sheet", args=[truck().pk]), {"paper": "a3"}).status_code == 400


def test_the_queries_do_not_grow_with_pieces(cast):
    def asked():
        with CaptureQueriesContext(connection) as caught:
            told()
        return len(caught)

    gear_of_twelve(1)
    few = asked()
    builders.tested(*(builders.blanket(f"C-{number}", at=truck()) for number in range(5)))
    assert asked() == few
